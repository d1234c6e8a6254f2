"""What there is to look at for subjects that are explained together, each thing found only once."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

import polars as pl

from qa_engine.asking import known_of
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import Fact
from qa_engine.facts.past import Past
from qa_engine.records import KINDS
from qa_engine.subjects import item_of, subjects_of


@dataclass(frozen=True)
class ByItem:
    """A frame sorted by (item, at), and the column that names the item."""

    frame: pl.DataFrame
    item: str

    @cached_property
    def _spans(self) -> dict[str | None, tuple[int, int]]:
        items = self.frame.select(self.item).with_row_index("start")
        spans = items.group_by(self.item).agg(pl.col("start").min(), pl.len().alias("length"))
        return {item: (start, length) for item, start, length in spans.iter_rows()}

    def of(self, item: str | None, until: datetime) -> pl.DataFrame:
        """Return the rows of an item up to an instant."""
        rows = self.frame.slice(*self._spans.get(item, (0, 0)))
        return rows[: rows["at"].search_sorted(until, "right")]


@dataclass(frozen=True)
class Evidence:
    """What can be looked at for some subjects of a kind.

    Attributes:
        kind: the kind of subject.
        subjects: the subjects, sorted by (item, at, record).
        past: the records that they were judged on.
        catalogue: the facts there are.
    """

    kind: str
    subjects: pl.DataFrame
    past: Past
    catalogue: Catalogue
    _facts: dict[str, pl.Series] = field(default_factory=dict, repr=False, compare=False)
    _each: dict[tuple[str, str], ByItem] = field(default_factory=dict, repr=False, compare=False)
    _records: dict[str, ByItem] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def facts(self) -> Mapping[str, Fact]:
        """Return the facts that the subjects can have."""
        return self.catalogue.facts_of(self.kind)

    def fact(self, name: str) -> pl.Series:
        """Return a fact of all the subjects, row for row beside them."""
        if name not in self._facts:
            known = known_of(self.kind, [name], self.subjects, self.past, self.catalogue)
            self._facts[name] = known.frame[name]
        return self._facts[name]

    def each(self, kind: str, name: str) -> ByItem:
        """Return all events of a kind on record with a fact of theirs, and their charge."""
        if (kind, name) not in self._each:
            events = subjects_of(kind, self.past, by_day=False)
            known = known_of(kind, [name], events, self.past, self.catalogue)
            columns = (item_of(kind), "at", "record", "charge_number")
            found = events.select(columns).with_columns(known.frame[name])
            self._each[kind, name] = ByItem(found, item_of(kind))
        return self._each[kind, name]

    def records(self, kind: str) -> ByItem:
        """Return all records of a kind."""
        if kind not in self._records:
            frame = self.past.history.of(kind, *KINDS[kind].fields)
            self._records[kind] = ByItem(frame, KINDS[kind].item)
        return self._records[kind]
