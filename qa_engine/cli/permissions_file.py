"""The permissions that a command was given: in a file, or in a record book."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from qa_engine.cli.given import Given, book_of
from qa_engine.cli.rule_files import RuleChoice
from qa_engine.errors import IntakeError
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.permissions import Permission, read_permissions
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.rulesets import read_rule_sets


def permissions_at(
    file: Path | None,
    sources: RuleChoice,
    zone: ZoneInfo,
    records: Sequence[Given],
    known_at: datetime | None = None,
) -> tuple[Permission, ...]:
    """Return the permissions of a file or, if none is named, of the record book.

    Args:
        file: the file.
        sources: the rule files that the permissions are about.
        zone: the zone in which the operator's days are counted.
        records: what was given as RECORDS; files of records bring no permissions.
        known_at: what the book knew at this instant.

    Raises:
        IntakeError, PermissionsError, RuleSetError: as for ``read_at``.
    """
    if file is not None:
        return read_at(file, sources, zone)
    if (address := book_of(records)) is None:
        return ()
    from qa_engine.book import open_book
    from qa_engine.book.house import permissions_in

    with open_book(address) as book:
        return permissions_in(book, known_at)


def read_at(file: Path, sources: RuleChoice, zone: ZoneInfo) -> tuple[Permission, ...]:
    """Return the permissions of a file.

    Args:
        file: the file.
        sources: the rule files that the permissions are about.
        zone: the zone in which the operator's days are counted.

    Raises:
        IntakeError: there is no such file.
        PermissionsError: it cannot be used as written.
        RuleSetError: a rule file cannot be used as written.
    """
    if not file.is_file():
        raise IntakeError(f"{file}: no such file; expected a YAML file of permissions")
    host = open_host(installed_plugins())
    catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
    editions = read_rule_sets(sources(host), catalogue, unknown_names="undecided")
    return read_permissions(str(file), file.read_bytes(), zone, editions).listed
