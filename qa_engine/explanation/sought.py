"""What was looked for where a fact is missing: where, the last that there is, and what would do."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

import polars as pl

from qa_engine.explanation.amounts import amount
from qa_engine.explanation.evidence import Evidence
from qa_engine.explanation.moments import before, moment
from qa_engine.facts.fact import EVENT_SUBJECTS, Fact
from qa_engine.facts.past import Past
from qa_engine.fields import Quantity, RecordField
from qa_engine.history import valid_rows
from qa_engine.records import KINDS
from qa_engine.register import TABLES
from qa_engine.subjects import item_of

EACH = "each "
MODEL = "model"
SHOWN = 5
DEEPEST = 6
"""How far it is followed of what a missing fact is made."""


@dataclass(frozen=True)
class Sought:
    """Something that was looked for.

    Attributes:
        looked_for: what, and where.
        found: what there is.
        lacking: whether this is why the fact is missing, as far as can be told.
        settled_by: what would fill the gap; empty if nothing is lacking here.
        record, at: the last record that says something, and its instant.
        inner: what it is made of, where that is missing in turn.
    """

    looked_for: str
    found: str
    lacking: bool
    settled_by: str = ""
    record: str | None = None
    at: datetime | None = None
    inner: tuple["Sought", ...] = ()


@dataclass(frozen=True)
class Search:
    """Looks for what is missing of one subject.

    Attributes:
        evidence: what can be looked at, shared by all subjects that are explained together.
        place: which of them it is.
        failures: why plugins failed, by name.
    """

    evidence: Evidence
    place: int
    failures: Mapping[str, str] = field(default_factory=dict)

    @property
    def kind(self) -> str:
        """Return the kind of subject."""
        return self.evidence.kind

    @property
    def past(self) -> Past:
        """Return the records that it was judged on."""
        return self.evidence.past

    @cached_property
    def row(self) -> Mapping[str, Any]:
        """Return the subject as names and values."""
        return self.evidence.subjects.row(self.place, named=True)

    @property
    def facts(self) -> Mapping[str, Fact]:
        """Return the facts that the subject can have."""
        return self.evidence.facts

    def of_fact(self, name: str, depth: int = 0) -> Sought:
        """Return what was looked for to know a fact that is missing."""
        fact = self.facts.get(name)
        if fact is None:
            return Sought(name, "no plugin that works offers this fact", True, self._repair())
        mine = (entry for entry in fact.looks_at if "." in entry or self._is_mine(entry))
        inner = [self._entry(entry, depth) for entry in mine if depth < DEEPEST]
        if not inner:
            return Sought(_named(fact), "not known", True, self._repair())
        return Sought(_named(fact), "not known", True, inner=tuple(inner))

    def _is_mine(self, entry: str) -> bool:
        """Tell whether the subject has a fact that others of the same declaration may lack."""
        return entry == MODEL or entry in self.facts

    def _entry(self, entry: str, depth: int) -> Sought:
        if entry == MODEL:
            return self._model()
        if entry.startswith(EACH):
            return self._each(*entry.removeprefix(EACH).split("."))
        if "." not in entry:
            return self._made_of(entry, depth)
        where, *filters = entry.split(" ")
        holder, name = where.split(".")
        if holder in TABLES:
            return self._registered(holder, name)
        return self._recorded(holder, name, dict(one.split("=") for one in filters))

    def _repair(self) -> str:
        names = ", ".join(f"'{name}'" for name in self.failures)
        return f"the repair of the plugin {names}" if names else ""

    def _made_of(self, name: str, depth: int) -> Sought:
        value, fact = self.evidence.fact(name)[self.place], self.facts[name]
        if value is None:
            return self.of_fact(name, depth + 1)
        return Sought(_named(fact), told(value, fact.unit), False)

    def _model(self) -> Sought:
        grade = self._grade()
        if grade is None:
            wanted = "a resin change that states the grade"
            return Sought("a resin model for the grade", "no grade is recorded", True, wanted)
        sought, models = f"a resin model for the grade '{grade}'", self.past.models
        if grade in models:
            return Sought(sought, "a loaded model speaks for it", False)
        wanted = self._repair() or (
            f"a plugin with a model for '{grade}', or the grade written as in the list of models"
        )
        spoken = ", ".join(f"'{name}'" for name in models) or "no grade at all"
        return Sought(sought, f"the loaded models speak for {spoken}", True, wanted)

    def _grade(self) -> str | None:
        if "grade" in self.row:
            return str(self.row["grade"]) if self.row["grade"] is not None else None
        grade = self.past.charge_of(self.evidence.subjects)["grade"][self.place]
        return None if grade is None else str(grade)

    def _registered(self, table: str, name: str) -> Sought:
        key = TABLES[table].key
        item = self.row.get(key)
        sought = f"{name} in the register, table {table}"
        if item is None:
            return Sought(sought, f"the {self._called} names no {_words(key)}", True)
        asked = self.evidence.subjects[[self.place]].select(key, "at")
        found = valid_rows(asked, self.past.register, table, ["holds_from", name])
        held, value = found.row(0)
        sought = f"{sought}, the row of {item} that held then"
        if value is not None:
            return Sought(sought, told(value, _unit(TABLES[table].fields[name])), False)
        there = "there is no such row" if held is None else "it is empty there"
        return Sought(sought, there, True, f"{name} for {item} in the register, if it held then")

    def _recorded(self, kind: str, name: str, filters: Mapping[str, str]) -> Sought:
        if kind == self.kind and kind in EVENT_SUBJECTS and not filters:
            return self._own(name)
        scope, records = self._records(kind, name, *filters)
        where = "".join(f" with {_words(n)} {word}" for n, word in filters.items())
        sought = f"{_plural(kind)}{scope} that state {_words(name)}{where}, up to {self._then}"
        wanted = f"a {_words(kind)}{scope} that states {_words(name)}{where}"
        stated = records.filter(pl.col(name).is_not_null(), *(_reads(*f) for f in filters.items()))
        if stated.is_empty():
            return Sought(sought, f"there is none{self._silent(records)}", True, wanted)
        last = stated.row(-1, named=True)
        found = f"the last is {self._said(last, kind, name)}"
        return Sought(sought, found, False, "", last["record"], last["at"])

    def _own(self, name: str) -> Sought:
        scope, records = self._records(self.kind, name)
        record, called = self.row["record"], _words(self.kind)
        wanted = (
            f"a correction of {record} that states {_words(name)}, by somebody who knows it; "
            f"a later {called} is judged by itself"
        )
        earlier = records.filter(pl.col(name).is_not_null(), pl.col("record") != record)
        sought = f"{_words(name)} in the {called} {record} itself"
        if earlier.is_empty():
            found = f"it states none, and no earlier {called}{scope} does"
            return Sought(sought, found, True, wanted)
        last = earlier.row(-1, named=True)
        found = f"it states none; the last {called}{scope} that does is "
        found += self._said(last, self.kind, name)
        return Sought(sought, found, True, wanted, last["record"], last["at"])

    def _each(self, kind: str, name: str) -> Sought:
        subjects = self.evidence.each(kind, name).of(self.row[item_of(kind)], self.row["at"])
        subjects = subjects.filter(pl.col("charge_number") == self.row["charge_number"])
        lacking = subjects.filter(pl.col(name).is_null())
        silent = lacking["record"].to_list()
        meaning = self.evidence.catalogue.facts_of(kind)[name].meaning
        sought = f"{name} of all {_plural(kind)} on the charge, up to {self._then}"
        if not silent:
            return Sought(sought, f"each of the {subjects.height} has it", False)
        listed = ", ".join(silent[:SHOWN]) + (" and others" if len(silent) > SHOWN else "")
        found = f"{len(silent)} of {subjects.height} leave it open, the first is {silent[0]}"
        wanted = f"{meaning}: for {listed}"
        return Sought(sought, found, True, wanted, silent[0], lacking["at"][0])

    def _records(self, kind: str, *names: str) -> tuple[str, pl.DataFrame]:
        """Return the records of a kind up to the subject's instant, and whose they are."""
        item, until = KINDS[kind].item, self.row["at"]
        if (mine := self.row.get(item)) is None:
            columns = dict.fromkeys(("at", "record", *names))
            records = self.past.history.of(kind, *columns)
            return "", records.filter(pl.col("at") <= until).sort("at", "record")
        return f" of {_words(item)} {mine}", self.evidence.records(kind).of(mine, until)

    def _silent(self, records: pl.DataFrame) -> str:
        if records.is_empty():
            return ""
        last = records.row(-1, named=True)
        return f"; the last of them, {last['record']} of {self._moment(last['at'])}, does not"

    def _said(self, record: Mapping[str, Any], kind: str, name: str) -> str:
        value = told(record[name], _unit(KINDS[kind].fields[name]))
        age = before(record["at"], self.row["at"])
        return f"{record['record']} of {self._moment(record['at'])}, {age}: {value}"

    @cached_property
    def _then(self) -> str:
        return self._moment(self.row["at"])

    @property
    def _called(self) -> str:
        return _words(self.kind)

    def _moment(self, instant: datetime) -> str:
        return moment(instant, self.past.register.zone)


def told(value: object, unit: str | None) -> str:
    """Return a value as people write it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return amount(value, unit)
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)


def _named(fact: Fact) -> str:
    """Return a fact's name with the first clause of its meaning."""
    return f"{fact.name}, {fact.meaning.partition(';')[0].partition(':')[0]}"


def _reads(name: str, word: str) -> pl.Expr:
    return pl.col(name) == (word == "yes") if word in ("yes", "no") else pl.col(name) == word


def _unit(declared: RecordField) -> str | None:
    return declared.unit if isinstance(declared, Quantity) else None


def _words(name: str) -> str:
    return name.replace("_", " ")


def _plural(kind: str) -> str:
    words = _words(kind)
    return f"{words[:-2]}es" if words.endswith("is") else f"{words}s"
