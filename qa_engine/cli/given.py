"""What a person gives as RECORDS: files, or one record book, which has a register of its own."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from qa_engine.cli.rule_files import RuleChoice, rule_sources
from qa_engine.intake import ColumnMap, Intake, read_records, read_register, read_with_map
from qa_engine.intake.refused import refused_frame
from qa_engine.register import Register

if TYPE_CHECKING:
    from qa_engine.book import Book

Given = Path | str
"""A file of records, or the address of a record book as text."""


class _Given(click.ParamType[Given]):
    """Tells a record book from a file of records by its name."""

    name = "path"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> Given:
        from qa_engine.book.connection import is_book

        return str(value) if is_book(str(value)) else Path(value)


RECORDS = _Given()
"""The type of arguments that take files of records or a record book."""


def register_from(
    register: Path | None, records: Sequence[Given], known_at: datetime | None = None
) -> Register:
    """Return the register of a file or, if none is named, of the record book.

    Args:
        register: the file.
        records: what was given as RECORDS.
        known_at: what the book knew at this instant.

    Raises:
        click.UsageError: neither is given.
    """
    if register is not None:
        return read_register(register)
    if (address := book_of(records)) is None:
        raise click.UsageError("name the register with --register FILE; only a book has its own")
    from qa_engine.book import open_book

    with open_book(address) as book:
        return book.register(known_at)


def records_from(
    records: Sequence[Given],
    *,
    time_zone: str | None,
    known_at: datetime | None = None,
    column_map: ColumnMap | None = None,
) -> Intake:
    """Return the records of files, or those that a record book has.

    Args:
        records: what was given as RECORDS.
        time_zone: the zone of local times in files.
        known_at: what the book knew at this instant; by default, all that it knows.
        column_map: what the columns of the files mean; none: they bear our names.

    Raises:
        click.UsageError: a book and files at once, or ``known_at`` without a book.
    """
    if (address := book_of(records)) is not None:
        return _records_of(address, known_at)
    if known_at is not None:
        raise click.UsageError("--known-at asks what a record book knew; files do not tell that")
    files = [Path(file) for file in records]
    if column_map is not None:
        return read_with_map(files, column_map, time_zone=time_zone)
    return read_records(files, time_zone=time_zone)


def rules_from(
    rules: Sequence[Path], records: Sequence[Given], known_at: datetime | None = None
) -> RuleChoice:
    """Return the rule files that are named, else those adopted in the record book, else ours.

    Args:
        rules: the files and folders.
        records: what was given as RECORDS.
        known_at: what the book knew at this instant.

    Raises:
        IntakeError: a path is not there, or holds no rule file.
    """
    if rules or (address := book_of(records)) is None:
        return rule_sources(rules)
    from qa_engine.book import open_book

    with open_book(address) as book:
        return rules_of(book, rules, known_at)


def rules_of(book: "Book", rules: Sequence[Path], known_at: datetime | None = None) -> RuleChoice:
    """Return the rule files as ``rules_from`` does, for a book that is open."""
    from qa_engine.book.house import rules_in

    adopted = [] if rules else rules_in(book, known_at)
    return (lambda host: adopted) if adopted else rule_sources(rules)


def book_of(records: Sequence[Given]) -> str | None:
    """Return the address of the record book among what was given; None if there is none.

    Raises:
        click.UsageError: a book and files at once.
    """
    books = [one for one in records if isinstance(one, str)]
    if books and len(records) > 1:
        raise click.UsageError(
            f"{books[0]} is a record book, and stands alone; add files to it with: "
            f"qa-engine book add {books[0]} FILES"
        )
    return books[0] if books else None


def _records_of(address: str, known_at: datetime | None) -> Intake:
    from qa_engine.book import open_book

    with open_book(address) as book:
        frames = book.frames(known_at=known_at, entered=True)
    count = sum(frame.height for frame in frames.values())
    return Intake(frames, refused_frame([]), count, count, 0, 0, ())
