"""The permissions file that a command was given."""

from pathlib import Path
from zoneinfo import ZoneInfo

from qa_engine.cli.rule_files import RuleChoice
from qa_engine.errors import IntakeError
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.permissions import Permission, read_permissions
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.rulesets import read_rule_sets


def permissions_at(
    file: Path | None, sources: RuleChoice, zone: ZoneInfo
) -> tuple[Permission, ...]:
    """Return the permissions of a file; none if none is named.

    Args:
        file: the file.
        sources: the rule files that the permissions are about.
        zone: the zone in which the operator's days are counted.

    Raises:
        IntakeError: there is no such file.
        PermissionsError: it cannot be used as written.
        RuleSetError: a rule file cannot be used as written.
    """
    if file is None:
        return ()
    if not file.is_file():
        raise IntakeError(f"{file}: no such file; --permissions takes a YAML file of permissions")
    host = open_host(installed_plugins())
    catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
    editions = read_rule_sets(sources(host), catalogue, unknown_names="undecided")
    return read_permissions(str(file), file.read_bytes(), zone, editions).listed
