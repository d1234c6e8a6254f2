"""What the pages show of a column map: its questions as fields of a form, its columns as rows."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from qa_engine.intake.column_map.answering import answers_in
from qa_engine.intake.column_map.column_map import DAY, TIME
from qa_engine.records import RECORD_FIELDS
from qa_engine.web.imports.shelf import Asked, HandedIn
from qa_engine.yaml_tree import Document, read_yaml

AS_IT_IS, LEFT_OUT = "as it is", "leave it out"
FIELDS = (*sorted(RECORD_FIELDS), f"at/{DAY}", f"at/{TIME}")
"""What a column may be said to fill."""

STILL_OPEN = "still open"
"""What stands on the page where an answer is missing."""


@dataclass(frozen=True)
class Control:
    """A question as a field of a form.

    Attributes:
        name: of the question.
        text: what is asked.
        answers: what may be answered; any words if there are none.
        value: what is answered; empty while it is open.
    """

    name: str
    text: str
    answers: tuple[str, ...]
    value: str


@dataclass(frozen=True)
class MappedColumn:
    """A column of the map: what it is called, what it fills, what stands in it and why."""

    called: str
    fills: str
    how: str
    remark: str


@dataclass(frozen=True)
class Mapped:
    """A table of the map: what it stands for, what its rows are, and its columns."""

    sheets: str
    kind: str
    always: str
    columns: tuple[MappedColumn, ...]
    left_out: tuple[str, ...]


def controls(handed_in: HandedIn) -> list[Control]:
    """Return the questions that the map of a file asks, those answered with their answers."""
    found = []
    for name, value in answers_in(handed_in.column_map).items():
        asked = handed_in.asked.get(name, Asked(name))
        found.append(Control(name, asked.text, asked.answers, value))
    return found


def tables(text: str) -> list[Mapped]:
    """Return what a map says, table by table; nothing of one that cannot be read."""
    document = read_yaml("column map", text.encode("utf-8", "replace"))
    listed = document.data.get("tables") if isinstance(document.data, dict) else None
    answers = answers_in(text)
    return [
        _mapped(document, at, table, answers)
        for at, table in enumerate(listed if isinstance(listed, list) else [])
        if isinstance(table, dict)
    ]


def heads(text: str) -> list[str]:
    """Return the heads of all columns that a map names, taken or left out, each once."""
    named: dict[str, None] = {}
    for table in tables(text):
        named.update(dict.fromkeys((*(one.called for one in table.columns), *table.left_out)))
    return list(named)


def _mapped(
    document: Document, at: int, table: Mapping[str, Any], answers: Mapping[str, str]
) -> Mapped:
    columns = table.get("columns")
    always = table.get("always")
    said = always.items() if isinstance(always, dict) else ()
    return Mapped(
        sheets=_listed(table.get("sheet")),
        kind=_value(table.get("kind"), answers),
        always=", ".join(f"{name}: {_value(value, answers)}" for name, value in said),
        columns=tuple(
            _column(column, _remark(document, ("tables", at, "columns", place)), answers)
            for place, column in enumerate(columns if isinstance(columns, list) else [])
            if isinstance(column, dict)
        ),
        left_out=tuple(_texts(table.get("columns_left_out"))),
    )


def _column(column: Mapping[str, Any], remark: str, answers: Mapping[str, str]) -> MappedColumn:
    called = column.get("head") or column.get("column") or ""
    how = [f"{name}: {_value(column[name], answers)}" for name in _WAYS if name in column]
    words = column.get("words")
    if isinstance(words, dict):
        how += [f"{theirs} = {_value(ours, answers)}" for theirs, ours in words.items()]
    return MappedColumn(str(called), _value(column.get("field"), answers), "; ".join(how), remark)


_WAYS = ("part", "unit", "decimal", "date_order", "time_zone", "carries_on")


def _remark(document: Document, path: tuple[str | int, ...]) -> str:
    line = document.place_of(path)[0]
    return document.text.splitlines()[line - 1].partition("  # ")[2]


def _value(value: Any, answers: Mapping[str, str]) -> str:
    """Return a value of the map, or the answer that it stands for."""
    if isinstance(value, dict):
        value = answers.get(str(value.get("answer"))) or STILL_OPEN
    return _listed(value)


def _listed(value: Any) -> str:
    return ", ".join(_texts(value))


def _texts(value: Any) -> Iterator[str]:
    for one in value if isinstance(value, list) else [value]:
        if one is not None:
            yield str(one)
