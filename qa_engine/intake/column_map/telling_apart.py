"""Says in a column map which fields tell one record from another, where no column holds ids.

Without that a record is known by everything its row says: a row that was corrected is another
record. With it, it is the same record, corrected.
"""

import re
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from qa_engine.yaml_tree import Document, MapNode, read_yaml

KEY = "record_from"
_LINE = re.compile(rf"(?m)^ *{KEY}:.*\n")


def told_apart_by(text: str) -> tuple[str, ...]:
    """Return the fields that a map says tell records apart, those of all tables."""
    named = (table.get(KEY) for _, table in _tables(_document(text)))
    each = (one if isinstance(one, list) else [one] for one in named if one)
    return tuple(dict.fromkeys(str(name) for names in each for name in names))


def may_tell_apart(text: str) -> tuple[str, ...]:
    """Return the fields that may tell records apart: filled, and in no table is there an id."""
    filled = [_filled(table) for _, table in _tables(_document(text))]
    if any("record" in names for names in filled):
        return ()
    return tuple(dict.fromkeys(name for names in filled for name in names))


def told_apart(text: str, names: Collection[str]) -> str:
    """Return a map in which each table says which of some fields tell its records apart.

    Args:
        text: the map.
        names: the fields; of each table only those that it fills; none: the whole row does.
    """
    text = _LINE.sub("", text)
    document = _document(text)
    text = document.text
    for at, table in reversed(list(_tables(document))):
        node = document.node(("tables", at))
        chosen = [name for name in _filled(table) if name in names]
        if chosen and isinstance(node, MapNode) and "columns" in node.keys:
            place = node.keys["columns"].start
            begins = text.rfind("\n", 0, place) + 1
            said = f"{KEY}: [{', '.join(chosen)}]\n{' ' * (place - begins)}"
            text = text[:place] + said + text[place:]
    return text


def _document(text: str) -> Document:
    return read_yaml("column map", text.encode("utf-8", "replace"))


def _tables(document: Document) -> Iterator[tuple[int, Mapping[str, Any]]]:
    listed = document.data.get("tables") if isinstance(document.data, dict) else None
    for at, table in enumerate(listed if isinstance(listed, list) else []):
        if isinstance(table, dict):
            yield at, table


def _filled(table: Mapping[str, Any]) -> list[str]:
    columns = table.get("columns")
    listed = columns if isinstance(columns, list) else []
    fields = [one.get("field") for one in listed if isinstance(one, dict)]
    always = table.get("always")
    names = [name for name in fields if isinstance(name, str) and " or " not in name]
    return list(dict.fromkeys([*names, *(always if isinstance(always, dict) else ())]))
