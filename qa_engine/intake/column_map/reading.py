"""Reads a column map, or says everything that is wrong with it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import Any

from marshmallow import Schema, ValidationError

from qa_engine.errors import ColumnMapError, IntakeError, nearest
from qa_engine.fields import Refusal, shown
from qa_engine.intake.column_map.answers import Answers
from qa_engine.intake.column_map.checking import table_problems
from qa_engine.intake.column_map.column_map import ColumnMap, Question
from qa_engine.intake.column_map.form import (
    SEPARATOR_NAMES,
    UNKNOWN,
    ColumnForm,
    MapForm,
    TableForm,
)
from qa_engine.intake.column_map.making import table_of
from qa_engine.intake.grids import TextForm
from qa_engine.yaml_tree import LARGEST_FILE, Document, Path, Problem, flatten, read_yaml

_FORMS: Mapping[int, tuple[Schema, str]] = {
    0: (MapForm(), "a column map"),
    2: (TableForm(), "a table"),
    4: (ColumnForm(), "a column"),
}
"""The mappings of a map by how deep they stand."""


def read_map(path: FilePath) -> ColumnMap:
    """Return a column map that is ready to be used.

    Raises:
        IntakeError: there is no such file.
        ColumnMapError: it cannot be used; ``problems`` holds all that is wrong, with places, and
            a problem for each question that is not answered.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        raise IntakeError(f"{path}: cannot be read: {error.strerror}") from None
    column_map = map_of(str(path), content)
    check_answered(column_map)
    return column_map


def check_answered(column_map: ColumnMap) -> None:
    """See that a map has no questions left.

    Raises:
        ColumnMapError: it has; each is a problem.
    """
    if column_map.questions:
        document = read_yaml(column_map.source, column_map.text.encode())
        raise ColumnMapError(_unanswered(document, one) for one in column_map.questions)


def _unanswered(document: Document, question: Question) -> Problem:
    message = f"this must be answered: {question.text or question.name}"
    return document.problem(("answers", question.name), message, "write the answer for the ???")


def map_of(source: str, content: bytes) -> ColumnMap:
    """Return a column map; one with questions left has them, and no tables.

    Args:
        source: how to name the file in problems.
        content: what it holds.

    Raises:
        ColumnMapError: it cannot be used; ``problems`` holds all that is wrong, with places.
    """
    reader = _Reader(read_yaml(source, content))
    column_map = reader.read()
    problems = sorted(reader.problems, key=lambda one: (one.line, one.column))
    if problems:
        raise ColumnMapError(problems)
    return column_map


@dataclass
class _Reader:
    """Reads one map; ``problems`` collects what is wrong with it."""

    document: Document
    problems: list[Problem] = field(default_factory=list)

    def read(self) -> ColumnMap:
        self.problems += self.document.problems
        answers = Answers(self.document)
        data = answers.put()
        self.problems += answers.problems
        empty = ColumnMap(self.document.source, self.document.text)
        if self.document.is_refused(()):
            return empty
        if answers.open:
            return replace(empty, questions=tuple(answers.questions()))
        good = self._load(data, answers)
        if self.problems:
            return empty
        tables = [
            table_of(table, good, self.document.place_of(("tables", at))[0])
            for at, table in enumerate(good["tables"])
        ]
        for at, table in enumerate(tables):
            for path, message, help in table_problems(table, good["tables"][at]):
                place = answers.place(("tables", at, *path))
                self.problems.append(self.document.problem(place, message, help))
        return replace(
            empty,
            tables=tuple(tables),
            sheets_left_out=tuple(good.get("sheets_left_out", ())),
            form=_text_form(good),
        )

    def _load(self, data: Any, answers: Answers) -> dict[str, Any]:
        try:
            good: dict[str, Any] = MapForm().load(data or {})
        except ValidationError as error:
            found = list(flatten(error.messages))
            self.problems += _worded(self.document, found, answers)
            return {}
        return good


def _text_form(good: Mapping[str, Any]) -> TextForm:
    separators = {name: one for one, name in SEPARATOR_NAMES.items()}
    return TextForm(good.get("encoding"), separators.get(good.get("separator", "")))


def _worded(
    document: Document, found: Sequence[tuple[Path, str]], answers: Answers
) -> Iterator[Problem]:
    """Yield a problem for each message of a form that has not been said before."""
    for path, text in found:
        if document.is_refused(path):
            continue
        place = answers.place(path)
        if text == UNKNOWN:
            yield _unknown(document, path)
        elif str(getattr(text, "why", text)) == "missing":
            wanted = f"expected {text.expected}" if isinstance(text, Refusal) else ""
            what = f"{_FORMS.get(len(path) - 1, _FORMS[0])[1]} lacks '{path[-1]}'"
            yield document.problem(path[:-1], what, wanted)
        else:
            fault = text.fault if isinstance(text, Refusal) else text
            wanted = f"expected {text.expected}" if isinstance(text, Refusal) else ""
            about = f"'{path[-1]}': " if path and isinstance(path[-1], str) else ""
            yield document.problem(place, about + fault, wanted)


def _unknown(document: Document, path: Path) -> Problem:
    form, label = _FORMS.get(len(path) - 1, _FORMS[0])
    hint = nearest(str(path[-1]), form.fields) or f"its keys are: {', '.join(form.fields)}"
    what = f"'{shown(path[-1])}' is not a key of {label}"
    return document.problem(path, what, hint, key=True)
