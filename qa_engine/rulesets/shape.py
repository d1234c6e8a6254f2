"""Loads rule files by their schemas and says what is wrong with their form, and where."""

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, NamedTuple

from marshmallow import Schema, ValidationError

from qa_engine.errors import nearest
from qa_engine.rulesets.parts import EMPTY, LACKING, UNKNOWN
from qa_engine.rulesets.schema import (
    DecisionForm,
    ExamplesForm,
    InForceForm,
    LimitForm,
    RuleForm,
    RuleSetForm,
    SettlingForm,
)
from qa_engine.yaml_tree import Document, Path, Problem, flatten

_KINDS: dict[str, tuple[type[Schema], str]] = {
    "rule set": (RuleSetForm, "a rule set"),
    "in_force": (InForceForm, "'in_force'"),
    "rule": (RuleForm, "a rule"),
    "decision": (DecisionForm, "'decision'"),
    "examples": (ExamplesForm, "'examples'"),
    "settled_by": (SettlingForm, "'settled_by'"),
    "limit": (LimitForm, "a limit"),
}


@cache
def _form(kind: str) -> Schema:
    return _KINDS[kind][0]()


class Loaded(NamedTuple):
    """What a schema made of a part of a document.

    Attributes:
        part: what is good of it.
        problems: what is wrong with it and has not been said before.
        whole: whether nothing is wrong with it.
    """

    part: dict[str, Any]
    problems: list[Problem]
    whole: bool


def load(document: Document, kind: str, path: Path, written: Any) -> Loaded:
    """Return what a schema makes of a part of a document.

    Args:
        document: the file.
        kind: ``rule set`` or ``rule``.
        path: where the part stands.
        written: the part as plain data.
    """
    try:
        return Loaded(_form(kind).load(written), [], whole=True)
    except ValidationError as error:
        found = [((*path, *inner), text) for inner, text in flatten(error.messages)]
        good = error.valid_data if isinstance(error.valid_data, dict) else {}
        return Loaded(good, list(_problems(document, found)), whole=False)


def _problems(document: Document, found: list[tuple[Path, str]]) -> Iterator[Problem]:
    meant = {_meant(path) for path, text in found if text == UNKNOWN}
    for path, text in found:
        if document.is_refused(path):
            continue
        if text == LACKING:
            if path not in meant and not document.may_lack(path[:-1]):
                what = f"{_kind(path[:-1])[1]} lacks '{path[-1]}'"
                yield document.problem(path[:-1], what, f"add '{path[-1]}:'")
        elif text == UNKNOWN:
            yield _unknown(document, path)
        elif text == EMPTY:
            yield document.problem(path, f"'{path[-1]}' has no value", "write one, or leave it out")
        else:
            what, _, help = text.partition("\n")
            about = f"'{path[-1]}': " if path and isinstance(path[-1], str) else ""
            yield document.problem(path, about + what, help)


def _unknown(document: Document, path: Path) -> Problem:
    schema, label = _kind(path[:-1])
    hint = nearest(str(path[-1]), schema.fields)
    keys = f"its keys are: {', '.join(schema.fields)}"
    what = f"'{path[-1]}' is not a key of {label}"
    return document.problem(path, what, hint or keys, key=True)


def _meant(path: Path) -> Path:
    """Return the path that a misspelt key was meant for, so that it is not called lacking too."""
    fields: Mapping[str, Any] = _kind(path[:-1])[0].fields
    hint = nearest(str(path[-1]), fields)
    return (*path[:-1], hint.partition("'")[2].rpartition("'")[0])


def _kind(path: Path) -> tuple[Schema, str]:
    """Return the schema of the mapping at a path, and what messages call it."""
    match path:
        case ():
            kind = "rule set"
        case ("rules", _):
            kind = "rule"
        case (*_, "limits", _):
            kind = "limit"
        case _:
            kind = str(path[-1])
    return _form(kind), _KINDS[kind][1]
