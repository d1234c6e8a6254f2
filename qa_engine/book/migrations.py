"""Versions of the tables: a new book has the newest, an older one is brought forward."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, func, inspect, select

from qa_engine.book.guards import guard
from qa_engine.book.schema import METADATA, book, findings, migrations
from qa_engine.errors import BookError


@dataclass(frozen=True)
class Step:
    """What brings a book from the version before to this one.

    Attributes:
        version: the version it leads to.
        what: what it changes, in a few words.
        apply: does it, in the transaction of the connection that it is given.
    """

    version: int
    what: str
    apply: Callable[[Connection], None]


def _findings_by_instant(connection: Connection) -> None:
    # Nothing was kept in the table before; what it keeps can be found again in any case.
    findings.drop(connection)
    findings.create(connection)


FIRST = 1
STEPS: tuple[Step, ...] = (
    Step(
        2, "findings are kept with the instants of the looks that told them", _findings_by_instant
    ),
)
"""Every step since the first version, in order."""


def newest(steps: Sequence[Step] = STEPS) -> int:
    """Return the version that this program writes."""
    return steps[-1].version if steps else FIRST


def make_tables(connection: Connection) -> None:
    """Make the tables of a new book, of the newest version, with their guards."""
    METADATA.create_all(connection)
    guard(connection)
    connection.execute(migrations.insert().values(version=newest(), what="made"))


def version_of(connection: Connection) -> int | None:
    """Return the version of a book's tables; None if there is no book."""
    if not inspect(connection).has_table(migrations.name):
        return None
    if not inspect(connection).has_table(book.name):
        return None
    found: int | None = connection.execute(select(func.max(migrations.c.version))).scalar()
    return found


def check_version(version: int | None, steps: Sequence[Step] = STEPS) -> bool:
    """Tell whether a book must be brought forward.

    Raises:
        BookError: there is no book, or one that a newer program wrote.
    """
    if version is None:
        raise BookError("no record book; make one with: qa-engine book create")
    if version > newest(steps):
        raise BookError(
            f"the book is of version {version}, and this program knows versions up to "
            f"{newest(steps)}; install a newer qa-engine"
        )
    return version < newest(steps)


def bring_forward(connection: Connection, steps: Sequence[Step] = STEPS) -> None:
    """Apply every step that a book has not had, all in one transaction."""
    version = version_of(connection)
    for step in steps:
        if version is not None and step.version > version:
            step.apply(connection)
            done = migrations.insert().values(version=step.version, what=step.what)
            connection.execute(done)
