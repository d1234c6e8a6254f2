"""Facts: the catalogue of what is known of records and things, and what is known of one."""

import math
from collections.abc import Iterator
from typing import Any

import polars as pl
from marshmallow import RAISE, Schema, fields
from marshmallow.validate import OneOf

from qa_engine.asking import known_of
from qa_engine.book.lookout import FleetState
from qa_engine.facts import SUBJECTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import Fact
from qa_engine.inspection import Assignment, Course, with_what_works
from qa_engine.plugin_host import installed_plugins
from qa_engine.records import KINDS, TANK_KINDS
from qa_engine.subjects import subjects_of
from qa_engine.web.api.answers import Answer
from qa_engine.web.api.calls import Call, Question, call
from qa_engine.web.office import now, office


class FactsAsked(Schema):
    """Whose facts are wanted."""

    class Meta:
        unknown = RAISE

    subject = fields.String(
        validate=OneOf(SUBJECTS, error="one of: {choices}"),
        metadata={"description": "Only facts of this kind of subject."},
    )


class Declared(Answer):
    """A fact as rules may name it."""

    fact = fields.String()
    subject = fields.String(validate=OneOf(SUBJECTS))
    type = fields.String(validate=OneOf(("number", "words", "yes/no", "records")))
    unit = fields.String(allow_none=True, metadata={"description": "Of a number; else null."})
    words = fields.List(fields.String(), metadata={"description": "The words it may be."})
    low = fields.Float(allow_none=True, metadata={"description": "Its least value, if any."})
    high = fields.Float(allow_none=True, metadata={"description": "Its greatest value, if any."})
    absent = fields.String(
        validate=OneOf(("unknown", "no")), metadata={"description": "When records are silent."}
    )
    meaning = fields.String()
    provider = fields.String(metadata={"description": "The engine, or a plugin."})


class FactsDeclared(Answer):
    """The facts that there are."""

    facts = fields.List(fields.Nested(Declared))


@call("/facts", Call(FactsDeclared, FactsAsked))
def facts(asked: Question) -> dict[str, Any]:
    """Read which facts there are, with unit and meaning."""
    subjects = [asked["subject"]] if "subject" in asked else SUBJECTS
    catalogue = office().lookout.state(now()).inspection.catalogue
    return {"facts": [one for subject in subjects for one in _declared(subject, catalogue)]}


def _declared(subject: str, catalogue: Catalogue) -> Iterator[dict[str, Any]]:
    for name, fact in catalogue.facts_of(subject).items():
        yield {
            **{key: getattr(fact, key) for key in ("type", "unit", "absent", "meaning")},
            "fact": name,
            "subject": subject,
            "words": list(fact.words),
            "low": fact.low if math.isfinite(fact.low) else None,
            "high": fact.high if math.isfinite(fact.high) else None,
            "provider": catalogue.group_of(subject, name).provider,
        }


class Known(Answer):
    """A fact of one thing, as of now."""

    fact = fields.String()
    type = fields.String()
    unit = fields.String(allow_none=True)
    value = fields.Raw(allow_none=True, metadata={"description": "null where it is not known."})
    record = fields.String(
        allow_none=True, metadata={"description": "The record that it came from, if it is one."}
    )


def facts_of_tank(tank: str, state: FleetState) -> list[dict[str, Any]]:
    """Return every fact of a tank as of an instant: that of a state."""
    book = office().book
    others = [kind for kind in KINDS if kind not in TANK_KINDS]
    frames = book.frames(items={"tank": [tank]}, kinds=TANK_KINDS, entered=True)
    frames |= book.frames(kinds=others, entered=True)
    task = Assignment(frames, state.register, state.as_of)
    return with_what_works(task, installed_plugins(), lambda _: (), lambda it: _known(tank, it))


def _known(tank: str, course: Course) -> list[dict[str, Any]]:
    past = course.past(course.history)
    subjects = subjects_of("tank", past, by_day=False).filter(pl.col("subject") == tank)
    declared = course.catalogue.facts_of("tank")
    if subjects.is_empty():
        return []
    found = known_of("tank", declared, subjects, past, course.catalogue)
    row = found.frame.row(0, named=True)
    return [_told(fact, row, found.evidence.get(name)) for name, fact in declared.items()]


def _told(fact: Fact, row: dict[str, Any], evidence: str | None) -> dict[str, Any]:
    record = row[evidence] if evidence else None
    about = {"fact": fact.name, "type": fact.type, "unit": fact.unit}
    return {**about, "value": row[fact.name], "record": record}
