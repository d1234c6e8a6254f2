"""What happened to a set of tanks: the records as frames by kind, and how to look back in them.

Every frame is sorted by (item, at, record), where the item is what the kind is about (a tank, a
meter, a base...). Sorting happens once, here; everything downstream relies on it.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Literal

import polars as pl

from qa_engine.records import KINDS, TANK_KINDS
from qa_engine.register import BEGINNING, TABLES, Register

RECORDS_PER_BLOCK = 500_000
"""How many records a block of tanks may hold before the fleet is cut into more blocks."""

FEW = 4_096
"""Up to so many rows, sorting takes less time than finding out whether it is needed."""

# Names that no field, fact or register column can have, since they hold a space.
INSTANT, PLACE, TAKEN = "the instant", "the place", "taken "


@dataclass(frozen=True)
class History:
    """The records of some tanks, the records that belong to no tank, and the register.

    Attributes:
        frames: a frame per kind, sorted by (item, at, record); columns nobody filled may lack.
        register: the operator's register.
    """

    frames: Mapping[str, pl.DataFrame]
    register: Register
    _seen: dict[tuple[str, tuple[str, ...]], pl.DataFrame] = field(
        default_factory=dict, repr=False, compare=False
    )

    @classmethod
    def of_records(cls, frames: Mapping[str, pl.DataFrame], register: Register) -> "History":
        """Return the history of frames in any order; sorts what is not sorted yet.

        What comes from the intake is sorted: doing it again would take the memory twice.
        """
        keys = {kind: (KINDS[kind].item, "at", "record") for kind in frames}
        ordered = {
            kind: frame if _is_sorted(frame.select(keys[kind])) else frame.sort(keys[kind])
            for kind, frame in frames.items()
        }
        return cls(ordered, register)

    def of(self, kind: str, *columns: str) -> pl.DataFrame:
        """Return the records of a kind, with the named columns only; unfilled ones are null."""
        key = (kind, columns)
        if key not in self._seen:
            self._seen[key] = self._columns(kind, columns)
        return self._seen[key]

    def _columns(self, kind: str, columns: Sequence[str]) -> pl.DataFrame:
        fields = KINDS[kind].fields
        frame = self.frames.get(kind)
        if frame is None:
            return pl.DataFrame(schema={name: fields[name].dtype for name in columns})
        return frame.select(
            pl.col(name) if name in frame.columns else pl.lit(None, fields[name].dtype).alias(name)
            for name in columns
        )

    def count(self) -> int:
        """Return how many records there are."""
        return sum(frame.height for frame in self.frames.values())

    def instants_of(self, records: Collection[str]) -> dict[str, datetime]:
        """Return when records happened, by their ids; what is not a record is left out."""
        wanted = pl.Series(sorted(records), dtype=pl.String)
        return {
            record: at
            for frame in self.frames.values()
            for record, at in frame.filter(pl.col("record").is_in(wanted.implode()))
            .select("record", "at")
            .iter_rows()
        }

    def tanks(self) -> pl.Series:
        """Return the ids of all tanks that the records or the register name, sorted."""
        named = [frame["tank"] for kind, frame in self.frames.items() if kind in TANK_KINDS]
        named.append(self.register.table("tanks")["tank"])
        return pl.concat(named).unique().drop_nulls().sort()

    def blocks(self, count: int | None = None) -> Iterator["History"]:
        """Yield the history in blocks of whole tanks, in the order of tank ids.

        Records that belong to no tank are few; every block sees all of them.

        Args:
            count: how many blocks; by default as many as keep a block small.
        """
        tanks = self.tanks()
        wanted = count or -(-self.count() // RECORDS_PER_BLOCK)
        size = -(-max(len(tanks), 1) // max(wanted, 1))
        for start in range(0, max(len(tanks), 1), size):
            yield self._of_tanks(tanks[start : start + size])

    def _of_tanks(self, tanks: pl.Series) -> "History":
        """Return the history of tanks that follow each other: a slice of every frame about them."""
        frames = {
            kind: _slice_of(frame, tanks) if kind in TANK_KINDS else frame
            for kind, frame in self.frames.items()
        }
        registered = _slice_of(self.register.table("tanks"), tanks)
        register = replace(self.register, tables={**self.register.tables, "tanks": registered})
        return History(frames, register)


def _slice_of(frame: pl.DataFrame, tanks: pl.Series) -> pl.DataFrame:
    """Return the rows about some tanks; rows and tanks stand in the order of tank ids."""
    if tanks.is_empty():
        return frame.clear()
    start = frame["tank"].search_sorted(tanks[0], "left")
    return frame[start : frame["tank"].search_sorted(tanks[-1], "right")]


def _is_sorted(keys: pl.DataFrame) -> bool:
    """Tell whether rows stand in the order of their columns, the first one first."""
    ordered = pl.lit(value=True)
    for name in reversed(keys.columns):
        column, before = pl.col(name), pl.col(name).shift()
        ordered = (column > before) | ((column == before) & ordered)
    whole = keys.null_count().transpose().sum().item() == 0
    return whole and bool(keys.select(ordered.all()).item())


def latest(
    subjects: pl.DataFrame, rows: pl.DataFrame, *, by: str, take: Sequence[str], at: str = "at"
) -> pl.DataFrame:
    """Return for each subject the last row at or before its instant, nulls where there is none.

    Of several rows at one instant the last one counts: frames of a history hold them in the order
    of their record ids. Subjects and rows that stand in the order of (``by``, instant), as frames
    of a history do for their own item, are not sorted again.

    Args:
        subjects: has ``by`` and ``at``; any order.
        rows: has ``by``, the instant ``at`` (its own column of that name) and what to ``take``.
        by: the column that must be equal, such as ``tank``; null equals nothing.
        take: the columns of ``rows`` to return.
        at: the name of the instant in ``rows``.

    Returns:
        A frame of the columns ``take``, row for row beside ``subjects``.
    """
    return _beside(subjects.select(by, "at"), rows.select(by, *_taken(at, take)), "backward")


def following(
    subjects: pl.DataFrame, rows: pl.DataFrame, *, by: str, take: Sequence[str]
) -> pl.DataFrame:
    """Return for each subject the first row after its instant and not after its ``until``.

    For facts that look ahead; ``subjects`` has ``by``, ``at`` and ``until``. Of several rows at
    one instant the first one counts.
    """
    asked = subjects.select(by, pl.col("at") + pl.duration(microseconds=1))
    found = _beside(asked, rows.select(by, *_taken("at", ["at", *take])), "forward")
    in_time = found["at"] <= subjects["until"]
    return found.select(pl.when(in_time).then(pl.col(name)).alias(name) for name in take)


def logged_van(subjects: pl.DataFrame, history: History) -> pl.Series:
    """Return the van that the latest record of each subject's tank names, null if none does.

    ``subjects`` has ``tank`` and ``at``; of records at one instant the one with the last id counts.
    """
    named = pl.concat(
        history.of(kind, "tank", "at", "record", "van").drop_nulls("van") for kind in TANK_KINDS
    )
    return latest(subjects, _moves(named), by="tank", take=["van"])["van"]


def _moves(named: pl.DataFrame) -> pl.DataFrame:
    """Return ``tank``, ``at``, ``van`` of records that can tell where a tank is.

    Most tanks never leave their van, and then the first record tells it all; only the records of
    the others are put in order.
    """
    tanks = named.group_by("tank").agg(
        pl.col("at").min(), pl.col("van").first(), moved=pl.col("van").min() != pl.col("van").max()
    )
    moving = named.join(tanks.filter("moved"), on="tank", how="semi").sort("tank", "at", "record")
    return pl.concat(
        frame.select("tank", "at", "van") for frame in (moving, tanks.filter(~pl.col("moved")))
    )


def _taken(at: str, take: Sequence[str]) -> list[pl.Expr]:
    return [
        pl.col(at).alias(INSTANT),
        *(pl.col(name).alias(TAKEN + name) for name in dict.fromkeys(take)),
    ]


def _beside(
    asked: pl.DataFrame, rows: pl.DataFrame, strategy: Literal["backward", "forward"]
) -> pl.DataFrame:
    """Return the columns of ``rows`` marked as taken, row for row beside what is asked.

    Both frames begin with the column that must be equal and the instant. Joining to the nearest
    instant needs nothing but ascending instants within each item.
    """
    by = asked.columns[0]
    asked = asked.rename({"at": INSTANT})
    rows = rows.filter(pl.col(by).is_not_null()) if rows[by].null_count() else rows
    taken = [name for name in rows.columns if name.startswith(TAKEN)]
    if rows.is_empty() or asked[by].null_count() == asked.height:
        return rows.select(taken).rename(lambda n: n.removeprefix(TAKEN)).clear(asked.height)
    rows = rows if _in_order(rows) else rows.sort(INSTANT, maintain_order=True)
    in_order = _in_order(asked)
    if not in_order:
        asked = asked.with_row_index(PLACE).sort(INSTANT, maintain_order=True)
    joined = asked.join_asof(
        rows, on=INSTANT, by=by, strategy=strategy, coalesce=True, check_sortedness=False
    )
    joined = joined if in_order else joined.sort(PLACE)
    return joined.select(pl.col(name).alias(name.removeprefix(TAKEN)) for name in taken)


def _in_order(frame: pl.DataFrame) -> bool:
    """Tell whether a frame is known to stand in the order of its first column, then of instants.

    A few rows are sorted sooner than looked at.
    """
    if frame.height < FEW:
        return frame.height < 2
    item, instant = pl.col(frame.columns[0]), pl.col(INSTANT)
    later = (item == item.shift()) & (instant >= instant.shift())
    ordered = frame.select(((item > item.shift()) | later).all()).item()
    return bool(ordered) and frame[frame.columns[0]].null_count() == 0


def valid_rows(
    subjects: pl.DataFrame, register: Register, table: str, take: Sequence[str]
) -> pl.DataFrame:
    """Return for each subject the register row of its item that held at its instant.

    ``subjects`` has the table's key column and ``at``. Nulls where no row held.
    """
    rows, key = register.table(table), TABLES[table].key
    if rows[key].is_duplicated().any():
        return latest(subjects, rows, by=key, take=take, at="holds_from")
    rows = rows.select(key, *_taken("holds_from", take))
    joined = subjects.select(key, "at").join(rows, on=key, how="left", maintain_order="left")
    if rows[INSTANT].max() == BEGINNING:
        return joined.select(pl.col(TAKEN + n).alias(n) for n in take)
    held = pl.col(INSTANT) <= pl.col("at")
    return joined.select(pl.when(held).then(pl.col(TAKEN + n)).alias(n) for n in take)
