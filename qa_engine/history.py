"""What happened to a set of tanks: the records as frames by kind, and how to look back in them.

Every frame is sorted by (item, at, record), where the item is what the kind is about (a tank, a
meter, a base...). Sorting happens once, here; everything downstream relies on it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import polars as pl

from qa_engine.records import KINDS, TANK_KINDS
from qa_engine.register import TABLES, Register

RECORDS_PER_BLOCK = 500_000
"""How many records a block of tanks may hold before the fleet is cut into more blocks."""


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
        """Return the history of frames in any order; sorts each by (item, at, record)."""
        ordered = {
            kind: frame.sort(KINDS[kind].item, "at", "record") for kind, frame in frames.items()
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
        mine = pl.col("tank").is_in(tanks.implode())
        frames = {
            kind: frame.filter(mine) if kind in TANK_KINDS else frame
            for kind, frame in self.frames.items()
        }
        register = replace(
            self.register,
            tables={
                **self.register.tables,
                "tanks": self.register.table("tanks").filter(mine),
            },
        )
        return History(frames, register)


def latest(
    subjects: pl.DataFrame, rows: pl.DataFrame, *, by: str, take: Sequence[str], at: str = "at"
) -> pl.DataFrame:
    """Return for each subject the last row at or before its instant, nulls where there is none.

    Args:
        subjects: has ``by`` and ``at``; any order.
        rows: has ``by``, the instant ``at`` (its own column of that name) and what to ``take``.
        by: the column that must be equal, such as ``tank``.
        take: the columns of ``rows`` to return.
        at: the name of the instant in ``rows``.

    Returns:
        A frame of the columns ``take``, row for row beside ``subjects``.
    """
    return _beside(subjects, rows, "at", at, by, take, "backward")


def following(
    subjects: pl.DataFrame, rows: pl.DataFrame, *, by: str, take: Sequence[str]
) -> pl.DataFrame:
    """Return for each subject the first row after its instant and not after its ``until``.

    For facts that look ahead; ``subjects`` has ``by``, ``at`` and ``until``.
    """
    ask = subjects.with_columns(pl.col("at") + pl.duration(microseconds=1))
    found = _beside(ask, rows, "at", "at", by, [*take, "at"], "forward")
    in_time = found["at"] <= subjects["until"]
    return found.select(pl.when(in_time).then(pl.col(name)).alias(name) for name in take)


def _beside(
    subjects: pl.DataFrame,
    rows: pl.DataFrame,
    left: str,
    right: str,
    by: str,
    take: Sequence[str],
    strategy: str,
) -> pl.DataFrame:
    named = {name: f"taken_{name}" for name in take}
    wanted = rows.select(
        pl.col(by), pl.col(right).alias("instant"), *(pl.col(n).alias(t) for n, t in named.items())
    )
    asked = subjects.select(pl.col(by), pl.col(left).alias("instant")).with_row_index("place")
    joined = asked.sort(by, "instant", maintain_order=True).join_asof(
        wanted.sort(by, "instant", maintain_order=True),
        on="instant",
        by=by,
        strategy=strategy,  # type: ignore[arg-type]
        check_sortedness=False,
    )
    return joined.sort("place").select(pl.col(t).alias(n) for n, t in named.items())


def valid_rows(
    subjects: pl.DataFrame, register: Register, table: str, take: Sequence[str]
) -> pl.DataFrame:
    """Return for each subject the register row of its item that held at its instant.

    ``subjects`` has the table's key column and ``at``. Nulls where no row held.
    """
    rows = register.table(table)
    return latest(subjects, rows, by=TABLES[table].key, take=take, at="holds_from")
