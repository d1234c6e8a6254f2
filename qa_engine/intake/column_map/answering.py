"""Writes answers into a column map, each where the map asks for it, and nothing else of it."""

import json
from collections.abc import Mapping

from qa_engine.intake.column_map.column_map import UNANSWERED
from qa_engine.yaml_tree import Document, TextNode, read_yaml


def answers_in(text: str) -> dict[str, str]:
    """Return the answers that a map holds by their names; one that is missing is empty.

    Args:
        text: the map.
    """
    written = _document(text).data
    answers = written.get("answers") if isinstance(written, dict) else None
    if not isinstance(answers, dict):
        return {}
    return {name: _said(value) for name, value in answers.items() if not isinstance(value, dict)}


def with_answers(text: str, answers: Mapping[str, str]) -> str:
    """Return a map with answers written in the place of what stands there.

    Args:
        text: the map.
        answers: what is answered, by the names that stand under ``answers``; an empty answer
            leaves the question open, and a name that does not stand there is passed over.
    """
    document = _document(text)
    places = [(document.node(("answers", name)), said) for name, said in answers.items()]
    found = [(node, said) for node, said in places if isinstance(node, TextNode)]
    text = document.text
    for node, said in sorted(found, key=lambda one: one[0].start, reverse=True):
        before = text[: node.start]
        gap = "" if before.endswith((" ", "\n")) else " "
        text = before + gap + _written(said) + text[node.end :]
    return text


def _document(text: str) -> Document:
    return read_yaml("column map", text.encode("utf-8", "replace"))


def _said(value: object) -> str:
    return "" if value is None or value == UNANSWERED else str(value)


def _written(said: str) -> str:
    """Return an answer as YAML takes it: in quotation marks, whatever it holds."""
    said = said.strip()
    return UNANSWERED if not said else json.dumps(said, ensure_ascii=False)
