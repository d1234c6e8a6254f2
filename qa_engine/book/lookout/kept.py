"""The records of a book as one process keeps them at hand, with what came in since.

What was read at first is never copied again: what comes in stands beside it, and what was corrected
is passed over.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.records import KINDS
from qa_engine.register import BEGINNING

PLACES = ("tank", "van", "meter", "base", "source", "item")
"""The columns that say what a record is about, or where it was logged."""

Ids = Collection[str]
Frames = Mapping[str, pl.DataFrame]


@dataclass(frozen=True)
class Kept(Mapping[str, pl.DataFrame]):
    """Records by kind, each frame sorted by (item, at, record).

    Attributes:
        whole: the records as first read.
        fresh: what came in since, by kind, in any order.
        gone: ids of records first read whose place was taken since, by kind.
    """

    whole: Mapping[str, "_Looked"]
    fresh: Frames = field(default_factory=dict)
    gone: Mapping[str, frozenset[str]] = field(default_factory=dict)
    _joined: dict[str, pl.DataFrame] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def of(cls, frames: Frames) -> "Kept":
        """Return records to keep; the frames are sorted."""
        return cls({kind: _Looked(kind, frame) for kind, frame in frames.items()})

    def __getitem__(self, kind: str) -> pl.DataFrame:
        if kind not in self.whole and kind not in self.fresh:
            raise KeyError(kind)
        if kind not in self._joined:
            read = self.whole[kind].frame if kind in self.whole else None
            self._joined[kind] = self._current(kind, read, self.fresh.get(kind))
        return self._joined[kind]

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys((*self.whole, *self.fresh)))

    def __len__(self) -> int:
        return len({*self.whole, *self.fresh})

    def count(self) -> int:
        """Return how many records there are."""
        return sum(map(pl.DataFrame.__len__, self._parts())) - sum(map(len, self.gone.values()))

    def _parts(self) -> Iterator[pl.DataFrame]:
        yield from (looked.frame for looked in self.whole.values())
        yield from self.fresh.values()

    def later(self, after: datetime, until: datetime | None = None) -> dict[str, pl.DataFrame]:
        """Return the records of after an instant, and perhaps none after another, by kind."""
        wanted = pl.col("at") > after
        if until is not None:
            wanted &= pl.col("at") <= until
        found = {kind: self[kind].filter(wanted) for kind in self if self._any_after(kind, after)}
        return {kind: frame for kind, frame in found.items() if frame.height}

    def _any_after(self, kind: str, after: datetime) -> bool:
        """Tell whether any record of a kind is of after an instant; a replaced one may count."""
        read = kind in self.whole and self.whole[kind].last > after
        return read or (kind in self.fresh and latest_of(self.fresh[kind]) > after)

    def taking(self, arrived: Frames) -> "Kept":
        """Return the records with more taken in, in the place of those they correct.

        Args:
            arrived: as the book gives them; of each record only the version that stands.
        """
        fresh, gone = dict(self.fresh), dict(self.gone)
        for kind, frame in arrived.items():
            ids = frame["record"].implode()
            before = fresh.get(kind, frame.clear()).filter(~pl.col("record").is_in(ids))
            fresh[kind] = pl.concat([before, frame], how="diagonal")
            if kind in self.whole:
                read = self.whole[kind].records(frame["record"])["record"]
                gone[kind] = gone.get(kind, frozenset()) | frozenset(read)
        return Kept(self.whole, fresh, gone)

    def replaced_by(self, arrived: Frames) -> dict[str, pl.DataFrame]:
        """Return the records in whose place others would be taken in, by kind."""
        found = {kind: self._standing(kind, frame["record"]) for kind, frame in arrived.items()}
        return {kind: frame for kind, frame in found.items() if frame.height}

    def named(self, records: Iterable[str]) -> Frames:
        """Return the records of some ids, as they stand, by kind."""
        ids = pl.Series(sorted(set(records)), dtype=pl.String)
        found = {kind: self._standing(kind, ids) for kind in self}
        return {kind: frame for kind, frame in found.items() if frame.height}

    def names(self, column: str, one: str) -> bool:
        """Tell whether any record names an id in a column; a replaced one may count."""
        read = any(looked.names(column, one) for looked in self.whole.values())
        fresh = (frame[column] for frame in self.fresh.values() if column in frame.columns)
        return read or any((ids == one).any() for ids in fresh)

    def about(self, places: Mapping[str, Ids], kinds: Collection[str] = tuple(KINDS)) -> Frames:
        """Return the records of which any of some columns names any of some ids, by kind.

        Args:
            places: ids by column, of ``PLACES``.
            kinds: the kinds wanted; by default, all.
        """
        found = {}
        for kind in (kind for kind in self if kind in kinds):
            read = self.whole[kind].about(places) if kind in self.whole else None
            fresh = self.fresh.get(kind)
            if fresh is not None:
                fresh = fresh.filter(_names(fresh, places))
            found[kind] = self._current(kind, read, fresh)
        return {kind: frame for kind, frame in found.items() if frame.height}

    def _current(
        self, kind: str, read: pl.DataFrame | None, fresh: pl.DataFrame | None
    ) -> pl.DataFrame:
        """Return records as first read, without those replaced, and fresh ones, in order."""
        if read is None or fresh is None:
            both = read if fresh is None else fresh
            assert both is not None, kind
        else:
            both = pl.concat([self._still(kind, read), fresh], how="diagonal")
        return both if fresh is None else both.sort(KINDS[kind].item, "at", "record")

    def _still(self, kind: str, read: pl.DataFrame) -> pl.DataFrame:
        gone = self.gone.get(kind)
        return read.filter(~pl.col("record").is_in(_listed(gone))) if gone else read

    def _standing(self, kind: str, records: pl.Series) -> pl.DataFrame:
        """Return the versions of some records that stand."""
        parts = [pl.DataFrame({"record": records.clear()})]
        if kind in self.fresh:
            fresh = self.fresh[kind]
            parts.append(fresh.filter(pl.col("record").is_in(records.implode())))
        if kind in self.whole:
            parts.append(self._still(kind, self.whole[kind].records(records)))
        return pl.concat(parts, how="diagonal")


class _Looked:
    """Records as first read, that can be looked up by what they are about."""

    def __init__(self, kind: str, frame: pl.DataFrame) -> None:
        self.frame = frame
        self._item = KINDS[kind].item
        names = [name for name in (*PLACES, "record") if name in frame.columns]
        self._lists = {name: _Sorted(frame[name]) for name in names if name != self._item}
        self.last = latest_of(frame)

    def about(self, places: Mapping[str, Ids]) -> pl.DataFrame:
        """Return the rows of which any column names any of the ids, in their order."""
        known = {n: ids for n, ids in places.items() if n == self._item or n in self._lists}
        rows = [
            self._rows_of_item(ids) if name == self._item else self._lists[name].places(ids)
            for name, ids in known.items()
        ]
        if not rows:
            return self.frame.clear()
        return self.frame[rows[0] if len(rows) == 1 else np.unique(np.concatenate(rows))]

    def names(self, column: str, one: str) -> bool:
        """Tell whether any row names an id in a column."""
        if column == self._item:
            return bool(len(self._rows_of_item([one])))
        return column in self._lists and bool(len(self._lists[column].places([one])))

    def records(self, records: pl.Series) -> pl.DataFrame:
        """Return the rows of some records."""
        found: pl.DataFrame = self.frame[self._lists["record"].places(records.to_list())]
        return found

    def _rows_of_item(self, ids: Ids) -> NDArray[np.int64]:
        return _stretches(self.frame[self._item], ids)


class _Sorted:
    """A column in the order of its values, so that rows are found without going through all."""

    def __init__(self, column: pl.Series) -> None:
        self._order = column.arg_sort().to_numpy().astype(np.int64)
        self._values = column.gather(self._order)

    def places(self, ids: Ids) -> NDArray[np.int64]:
        """Return the places of the rows that hold any of the values, ascending."""
        return np.sort(self._order[_stretches(self._values, ids)])


def _stretches(column: pl.Series, ids: Ids) -> NDArray[np.int64]:
    """Return the places of a sorted column, nulls first, that hold any of the ids, ascending."""
    nulls = column.null_count()
    held, wanted = column[nulls:], pl.Series(sorted(set(ids)), dtype=pl.String)
    if not len(held) or not len(wanted):
        return np.zeros(0, np.int64)
    starts = held.search_sorted(wanted, "left").to_numpy().astype(np.int64) + nulls
    ends = held.search_sorted(wanted, "right").to_numpy().astype(np.int64) + nulls
    return np.concatenate([np.arange(a, b) for a, b in zip(starts, ends, strict=True)])


def latest_of(records: pl.DataFrame) -> datetime:
    """Return the instant of the latest record; without any, one before all others."""
    last = records["at"].max()
    return last if isinstance(last, datetime) else BEGINNING


def _listed(ids: Iterable[str]) -> pl.Series:
    return pl.Series(list(ids), dtype=pl.String).implode()


def _names(frame: pl.DataFrame, places: Mapping[str, Ids]) -> pl.Expr:
    named = [
        pl.col(name).is_in(_listed(ids)) for name, ids in places.items() if name in frame.columns
    ]
    return pl.any_horizontal(pl.lit(value=False), *named)
