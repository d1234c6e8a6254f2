"""A corrective action as the body of an entry, checked at the door."""

from collections.abc import Mapping
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields
from marshmallow.validate import Length

from qa_engine.errors import BookError
from qa_engine.fields import Day, Identifier, Instant, Text

MOST_FINDINGS = 500
"""Most findings that one action answers."""


class _Strict(Schema):
    class Meta:
        unknown = RAISE


class NoteForm(_Strict):
    """What somebody noted, and when."""

    by = Identifier(required=True)
    at = Instant(required=True)
    text = Text(required=True)


class DoneForm(_Strict):
    """That an action was carried out: on which day, by whom, and what was done."""

    on = Day(required=True)
    by = Identifier(required=True)
    what = Text(required=True)


class WithdrawnForm(_Strict):
    """That an action will not be carried out, and why."""

    at = Instant(required=True)
    by = Identifier(required=True)
    reason = Text(required=True)


class ActionForm(_Strict):
    """An action: all of it, as it stands with this entry."""

    findings = fields.List(
        Text(required=True),
        required=True,
        validate=Length(1, MOST_FINDINGS, error=f"1 to {MOST_FINDINGS} findings are expected"),
    )
    what = Text()
    who = Identifier()
    until = Day()
    asked_by = Identifier(required=True)
    asked_at = Instant(required=True)
    notes = fields.List(fields.Nested(NoteForm))
    done = fields.Nested(DoneForm)
    withdrawn = fields.Nested(WithdrawnForm)


LABELS = {
    "what": "what will be done",
    "who": "who will do it",
    "until": "by when",
    "findings": "the findings",
    "text": "the note",
    "reason": "the reason",
    "on": "the day it was done",
    "by": "who",
}
"""How messages call a field."""

ASSIGNED = ("what", "who", "until")


def loaded(body: Mapping[str, Any]) -> dict[str, Any]:
    """Return a body with its days and instants read.

    Raises:
        BookError: it does not hold an action; says of each field what is wrong and what would do.
    """
    try:
        found: dict[str, Any] = ActionForm().load(dict(body))
    except ValidationError as error:
        raise BookError("; ".join(_said(error.messages))) from None
    given = [name for name in ASSIGNED if name in found]
    if given and len(given) < len(ASSIGNED):
        lacking = ", ".join(LABELS[name] for name in ASSIGNED if name not in found)
        raise BookError(f"{lacking}: missing; an action says what is done, by whom and by when")
    if not given and not found.get("notes"):
        raise BookError("neither an action nor a note: say what will be done, who and by when")
    return found


def _said(messages: Any, name: str = "") -> list[str]:
    if not isinstance(messages, Mapping):
        return [f"{LABELS.get(name, name)}: {text}" for text in messages]
    inner = [(key if isinstance(key, str) else name, text) for key, text in messages.items()]
    return [said for key, text in inner for said in _said(text, key)]
