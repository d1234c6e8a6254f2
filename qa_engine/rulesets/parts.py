"""The parts that rule files are made of, as marshmallow fields.

Texts come as they were written. A message of these fields is what is wrong and, on a second line,
what would do; ``LACKING``, ``EMPTY`` and ``UNKNOWN`` are markers that ``shape`` words itself.
"""

import re
from contextlib import suppress
from datetime import date
from typing import Any

from marshmallow import Schema, ValidationError, fields

from qa_engine.errors import nearest

LACKING, EMPTY, UNKNOWN = "lacking", "empty", "unknown"

LONGEST_TEXT = 2000
"""Most characters of a text."""

MOST_WORDS = 100
"""Most words that a limit may have a quantity of its own for."""

_Messages = dict[str, str | list[Any] | dict[Any, Any]]
MARKERS: _Messages = {"required": LACKING, "null": EMPTY}
"""What fields say about a key that is not there, or has no value."""

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", re.ASCII)


def _short(text: str) -> str:
    return " ".join(text.split())[:64]


class Sentence(fields.Field[str]):
    """A text."""

    default_error_messages = MARKERS

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str:
        if not isinstance(value, str):
            raise ValidationError("a text is expected here")
        if not value.strip():
            raise ValidationError(EMPTY)
        if len(value) > LONGEST_TEXT:
            raise ValidationError(f"the text has {len(value)} characters\n{LONGEST_TEXT} at most")
        return value


class Name(Sentence):
    """A text of a set form."""

    def __init__(self, form: str, expected: str, **kw: Any) -> None:
        super().__init__(**kw)
        self.form, self.expected = re.compile(form, re.ASCII), expected

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str:
        text = super()._deserialize(value, attr, data, **kw)
        if len(text) > 64 or not self.form.fullmatch(text):
            raise ValidationError(f"'{_short(text)}' cannot be taken\nexpected {self.expected}")
        return text


class OneOf(Sentence):
    """One text of a closed list."""

    def __init__(self, *words: str, **kw: Any) -> None:
        super().__init__(**kw)
        self.words = words

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str:
        text = super()._deserialize(value, attr, data, **kw)
        if text not in self.words:
            hint = f"{nearest(text, self.words)} it is one of: {', '.join(self.words)}".strip()
            raise ValidationError(f"'{_short(text)}' is not known here\n{hint}")
        return text


class CalendarDay(fields.Field[date]):
    """A day, written YYYY-MM-DD."""

    default_error_messages = MARKERS

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> date:
        if isinstance(value, str) and _DAY.fullmatch(value):
            with suppress(ValueError):
                return date.fromisoformat(value)
        shown = f"'{_short(value)}'" if isinstance(value, str) else "this"
        raise ValidationError(f"{shown} is not a day\na day is written 2026-04-01")


class Part(fields.Nested):
    """A mapping inside another."""

    default_error_messages = MARKERS


class KindOrPart(Part):
    """A mapping with a ``kind``; where it says nothing else, the kind may be written alone."""

    def deserialize(self, value: Any, *args: Any, **kw: Any) -> Any:
        if not isinstance(value, str):
            return super().deserialize(value, *args, **kw)
        try:
            return super().deserialize({"kind": value}, *args, **kw)
        except ValidationError as error:
            raise ValidationError(error.messages_dict["kind"]) from error


class PerName(fields.Field[dict[str, Any]]):
    """A mapping from names of the writer's choice to parts of one form."""

    default_error_messages = MARKERS

    def __init__(self, form: Schema, **kw: Any) -> None:
        super().__init__(**kw)
        self.form = form

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise ValidationError("keys and values are expected here")
        parts: dict[str, Any] = {}
        errors: dict[str, Any] = {}
        for name, part in value.items():
            try:
                parts[name] = self.form.load(part)
            except ValidationError as error:
                errors[name] = error.messages
        if errors:
            raise ValidationError(errors, valid_data=parts)
        return parts


class Listed(fields.Field[list[Any]]):
    """A list of at most so many mappings; a single one need not be written as a list."""

    default_error_messages = MARKERS

    def __init__(self, most: int, **kw: Any) -> None:
        super().__init__(**kw)
        self.most = most

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> list[Any]:
        if not isinstance(value, list):
            raise ValidationError("a list is expected here")
        if len(value) > self.most:
            raise ValidationError(f"there are {len(value)} entries\n{self.most} are the most")
        return value


class Examples(Listed):
    """Made-up subjects: facts by name, each a text or missing."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> list[Any]:
        alone = isinstance(value, dict)
        listed = super()._deserialize([value] if alone else value, attr, data, **kw)
        errors: dict[Any, Any] = {}
        for at, example in enumerate(listed):
            wrong = _not_an_example(example)
            errors |= (wrong if alone else {at: wrong}) if wrong else {}
        if errors:
            raise ValidationError(errors)
        return listed


def _not_an_example(example: Any) -> dict[str, list[str]]:
    if not isinstance(example, dict):
        return {"_schema": ["facts by name are expected here"]}
    texts = {name: isinstance(value, str | None) for name, value in example.items()}
    return {name: ["a text or number is expected here"] for name, good in texts.items() if not good}


class Value(Sentence):
    """A quantity, or a quantity per word."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> Any:
        if not isinstance(value, dict):
            return super()._deserialize(value, attr, data, **kw)
        if len(value) > MOST_WORDS:
            raise ValidationError(f"there are {len(value)} words\n{MOST_WORDS} are the most")
        errors = {word: ["a quantity is expected here"] for word, q in value.items() if not q}
        errors |= {word: ["a text is expected here"] for word, q in value.items() if _is_nested(q)}
        if errors or not value:
            raise ValidationError(errors or EMPTY)
        return value


def _is_nested(value: Any) -> bool:
    return isinstance(value, dict | list)
