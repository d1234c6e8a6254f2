"""The catalogue of facts: what rules may name, for which subject, and who finds it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import polars as pl

from qa_engine.facts.fact import EVENT_SUBJECTS, SUBJECTS, Fact, FactGroup
from qa_engine.facts.logged import meaning_of
from qa_engine.facts.past import Past
from qa_engine.fields import Quantity, RecordField, Word, YesNo
from qa_engine.records import KINDS

NOT_FACTS = ("record", "kind", "at", "note")
"""Fields that every record has and no rule can weigh."""


@dataclass(frozen=True)
class Catalogue:
    """Every fact there is, by subject.

    Attributes:
        groups: the groups of facts, the fields of records first.
    """

    groups: tuple[FactGroup, ...]

    @classmethod
    def of(cls, groups: Iterable[FactGroup]) -> "Catalogue":
        """Return the catalogue of the fields of records and further groups."""
        return cls((*map(field_facts, EVENT_SUBJECTS), *groups))

    @cached_property
    def _found_by(self) -> Mapping[str, Mapping[str, tuple[Fact, FactGroup]]]:
        found: dict[str, dict[str, tuple[Fact, FactGroup]]] = {name: {} for name in SUBJECTS}
        for group in self.groups:
            for subject in group.subjects:
                for fact in group.facts:
                    found[subject].setdefault(fact.name, (fact, group))
        return found

    def facts_of(self, subject: str) -> dict[str, Fact]:
        """Return the facts that a kind of subject has, by name."""
        return {name: fact for name, (fact, _) in self._found_by[subject].items()}

    def group_of(self, subject: str, name: str) -> FactGroup:
        """Return the group that finds a fact of a subject."""
        return self._found_by[subject][name][1]


def field_facts(kind: str) -> FactGroup:
    """Return the facts that a record states itself: its own fields, as logged."""
    names = [name for name in KINDS[kind].fields if name not in NOT_FACTS]

    def find(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
        return subjects.select(*names, pl.col("record").alias("evidence"))

    facts = tuple(_stated(kind, name, KINDS[kind].fields[name]) for name in names)
    return FactGroup((kind,), tuple(fact for fact in facts if fact), find, reads=())


def _stated(kind: str, name: str, field: RecordField) -> Fact | None:
    meaning, at = meaning_of(kind, name), (f"{kind}.{name}",)
    if isinstance(field, Quantity):
        of = field.unit
        return Fact(name, "number", meaning, of, low=field.low, high=field.high, looks_at=at)
    if isinstance(field, YesNo):
        return Fact(name, "yes/no", meaning, looks_at=at)
    words = field.words if isinstance(field, Word) else ()
    written = field.dtype == pl.String()
    return Fact(name, "words", meaning, words=words, looks_at=at) if written else None
