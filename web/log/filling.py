"""A form as somebody fills it: what it offers, what was typed, and what the intake says of it."""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from flask import abort

from qa_engine.fields import NUMBER, Day, Quantity, RecordField, Text, Word, YesNo
from qa_engine.intake import Intake, WrittenFile, read_records
from qa_engine.records import COMMON, KINDS
from qa_engine.web.access import signed_in
from qa_engine.web.log.sheets import label_of
from qa_engine.web.office import register
from qa_engine.web.shown import SIGNS, readers_unit

WITHOUT_UNIT = ("1", "count")
SORTS: dict[type[RecordField], str] = {
    Quantity: "number",
    Word: "word",
    YesNo: "answer",
    Day: "day",
    Text: "text",
}
ASKED_ALWAYS = ("at", "van", "tank", "note")
SOURCE = "form.jsonl"


@dataclass(frozen=True)
class Entry:
    """One field of a form.

    Attributes:
        name: of the record's field.
        label: what the form calls it.
        sort: how it is asked: ``number``, ``word``, ``answer``, ``day``, ``text`` or ``id``.
        value: what stands in it.
        unit: the unit it is asked in, as shown; None for none.
        words: what may be chosen or is offered.
        wrong: what is wrong with it and what would do; None if nothing.
    """

    name: str
    label: str
    sort: str
    value: str
    unit: str | None
    words: tuple[str, ...]
    wrong: str | None


def record_id(key: str) -> str:
    """Return the id of the record that a form's one-time key stands for."""
    try:
        return f"W-{UUID(key).hex[:20]}"
    except ValueError:
        abort(400)


def entries(
    kind: str,
    typed: Mapping[str, str],
    wrong: Mapping[str, str],
    offered: Mapping[str, tuple[str, ...]],
) -> dict[str, Entry]:
    """Return the fields of a form by name, filled with what was typed or is offered."""
    fields = KINDS[kind].fields
    return {
        name: Entry(
            name=name,
            label=label_of(name),
            sort=SORTS.get(type(one), "id"),
            value=typed.get(name, ""),
            unit=_shown_unit(one),
            words=one.words if isinstance(one, Word) else offered.get(name, ()),
            wrong=wrong.get(name),
        )
        for name, one in fields.items()
    }


def judged(kind: str, key: str, typed: Mapping[str, str], units: str | None = None) -> Intake:
    """Return what the intake, the door of all records, makes of a filled form.

    Args:
        kind: of the record.
        key: the form's one-time key.
        typed: what was typed, by field.
        units: whose units the form showed; None for those that its sender reads.
    """
    row = {"record": record_id(key), "kind": kind, "by": signed_in().person}
    row |= dict(_written(kind, typed, units))
    line = json.dumps(row, ensure_ascii=True).encode()
    return read_records([WrittenFile(SOURCE, line)], time_zone=register().zone.key)


def typed_in(kind: str, form: Mapping[str, str]) -> dict[str, str]:
    """Return what was typed into the fields that a form of a kind has."""
    asked = (*ASKED_ALWAYS, *(name for name in KINDS[kind].fields if name not in COMMON))
    return {name: form[name] for name in asked if name in form}


def local(instant: datetime) -> str:
    """Return an instant as a browser's field for a local time takes it."""
    return f"{instant.astimezone(register().zone):%Y-%m-%dT%H:%M}"


def refusals(intake: Intake) -> dict[str, str]:
    """Return what is wrong by field, and under no name what belongs to none."""
    found: dict[str, str] = {}
    for row in intake.refused.iter_rows(named=True):
        written = f"'{row['written']}' " if row["written"] else ""
        found.setdefault(row["field"] or "", f"{written}{row['expected']}")
    return found


def _written(kind: str, typed: Mapping[str, str], units: str | None) -> Iterator[tuple[str, str]]:
    fields = KINDS[kind].fields
    for name, value in typed.items():
        text = value.replace("\r\n", "\n").strip()
        if not text:
            continue
        yield name, with_unit(fields[name], text, units)


def with_unit(one: RecordField, text: str, units: str | None) -> str:
    """Return what was typed into a field, a plain number with the unit that the form showed."""
    if not isinstance(one, Quantity) or one.unit in WITHOUT_UNIT:
        return text
    return f"{text} {readers_unit(one.unit, units)}" if re.fullmatch(NUMBER, text) else text


def _shown_unit(one: RecordField) -> str | None:
    if not isinstance(one, Quantity) or one.unit in WITHOUT_UNIT:
        return None
    unit = readers_unit(one.unit)
    return SIGNS.get(unit, unit)
