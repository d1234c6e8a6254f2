"""Builds the tree of a file from the events of the YAML parser, refusing what could surprise."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from typing import Any, NoReturn

import yaml

from qa_engine.yaml_tree.document import (
    HIDDEN,
    Document,
    ListNode,
    MapNode,
    Node,
    RefusedNode,
    TextNode,
)
from qa_engine.yaml_tree.problem import MOST_PROBLEMS, Problem, first_of

LARGEST_FILE = 1024 * 1024
"""The most a file may hold [bytes]."""

DEEPEST = 20
"""How many lists and mappings may stand inside one another."""

MOST_PARTS = 120_000
"""Most keys, values, lists and mappings of a file; twice what 1 MiB of rules has."""

MOST_KEYS = 500
"""Most keys of a mapping."""

LONGEST_TEXT = 10_000
"""Most characters of a key or value."""

_PARSER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_TOO_BIG = "split it into several files"
_WRITE_OUT = "write the values out where they belong"
_SHOWN_NAME = 64
_BROKEN = "what follows in this file was not read; a text with ': ' or ' #' in it needs quotes"


def read_yaml(source: str, content: bytes) -> Document:
    """Return a file as a tree; what cannot be used is listed in its ``problems``, never raised.

    Args:
        source: how to name the file in problems.
        content: what it holds.
    """
    if len(content) > LARGEST_FILE:
        return _unread(source, "", f"the file has more than {LARGEST_FILE} bytes", 0, _TOO_BIG)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = content[: error.start].decode("utf-8-sig", "replace")
        what = f"byte 0x{content[error.start]:02x} is not UTF-8"
        return _unread(source, before, what, len(before), "save the file as UTF-8")
    if hidden := HIDDEN.search(text):
        what = f"the character U+{ord(hidden[0]):04X} cannot be seen and is not taken"
        return _unread(source, text, what, hidden.start(), "delete it")
    return _Builder(source, text).build()


def _unread(source: str, text: str, message: str, index: int, help: str) -> Document:
    empty = Document(source, text, RefusedNode(0), ())
    return Document(source, text, empty.root, (empty.problem_at(index, message, help),))


def _start(event: Any) -> int:
    return int(event.start_mark.index)


def _short(name: str) -> str:
    return name if len(name) <= _SHOWN_NAME else f"{name[:_SHOWN_NAME]}..."


class _StopReadingError(Exception):
    """What follows in the file cannot be read or must not be."""


class _Builder:
    """Turns the parser's events into a tree and notes what it refuses."""

    def __init__(self, source: str, text: str) -> None:
        self.document = Document(source, text, RefusedNode(0), ())
        self.events: Iterator[Any] = yaml.parse(text, Loader=_PARSER)
        self.problems: list[Problem] = []
        self.anchors: dict[str, tuple[int, Node | None]] = {}
        self.used: set[str] = set()
        self.parts = 0

    def build(self) -> Document:
        root: Node = RefusedNode(0)
        try:
            root = self._documents()
        except yaml.MarkedYAMLError as error:
            self._broken(error)
        except (yaml.YAMLError, RecursionError) as error:
            self._refuse(0, f"the file cannot be read as YAML: {error}")
        except _StopReadingError:
            pass
        with suppress(_StopReadingError):
            self._unused_anchors()
        problems = sorted(self.problems, key=lambda problem: (problem.line, problem.column))
        told = tuple(first_of(problems))
        return Document(self.document.source, self.document.text, root, told)

    def _unused_anchors(self) -> None:
        for name, (index, _) in self.anchors.items():
            if name not in self.used:
                self._refuse(index, f"the anchor '&{_short(name)}' is not taken", "leave it out")

    def _documents(self) -> Node:
        root: Node = TextNode("", "", 0, 0)
        seen = False
        for event in self.events:
            if not isinstance(event, yaml.DocumentStartEvent):
                continue
            start = _start(event)
            if seen:
                self._refuse(start, "a second document begins here", "keep one document in a file")
                break
            if event.version or event.tags:
                self._refuse(start, "directives are not taken", "leave the lines with '%' out")
            root, seen = self._node(next(self.events), 1), True
        return root

    def _node(self, event: Any, depth: int) -> Node:
        start = _start(event)
        self.parts += 1
        if self.parts > MOST_PARTS:
            self._stop(start, f"the file has more than {MOST_PARTS} parts", _TOO_BIG)
        if isinstance(event, yaml.AliasEvent):
            return self._alias(event.anchor, start)
        if event.anchor is not None:
            self.anchors.setdefault(event.anchor, (start, None))
        if event.tag is not None:
            self._refuse(start, f"the tag '{_short(event.tag)}' is not taken", "leave it out")
        if isinstance(event, yaml.ScalarEvent):
            return self._text(event, start)
        if depth > DEEPEST:
            self._stop(start, f"nested more than {DEEPEST} deep", "nothing here needs that depth")
        grow = self._list if isinstance(event, yaml.SequenceStartEvent) else self._mapping
        return grow(start, depth)

    def _text(self, event: Any, start: int) -> Node:
        end = event.end_mark.index
        if len(event.value) > LONGEST_TEXT:
            what = f"a text of {len(event.value)} characters is not taken"
            self._refuse(start, what, f"{LONGEST_TEXT} are the most")
            return RefusedNode(start)
        if event.style == '"' and (hidden := HIDDEN.search(event.value)):
            what = f"the escaped character U+{ord(hidden[0]):04X} cannot be seen and is not taken"
            self._refuse(start, what, "leave it out", end - start)
            return RefusedNode(start)
        if event.anchor is not None or event.tag is not None:
            start = max(start, end - len(event.value) - (2 if event.style else 0))
        node = TextNode(event.value, event.style or "", start, end)
        if event.anchor is not None:
            self.anchors[event.anchor] = (_start(event), node)
        return node

    def _list(self, start: int, depth: int) -> ListNode:
        items: list[Node] = []
        for event in self.events:
            if isinstance(event, yaml.SequenceEndEvent):
                break
            items.append(self._node(event, depth + 1))
        return ListNode(items, start)

    def _mapping(self, start: int, depth: int) -> MapNode:
        made = MapNode({}, {}, start)
        for event in self.events:
            if isinstance(event, yaml.MappingEndEvent):
                break
            if len(made.keys) >= MOST_KEYS:
                what = f"a mapping with more than {MOST_KEYS} keys is not taken"
                self._stop(_start(event), what, "write a list, or several mappings")
            self._entry(made, event, depth)
        return made

    def _entry(self, made: MapNode, event: Any, depth: int) -> None:
        if isinstance(event, yaml.ScalarEvent) and event.value == "<<" and not event.style:
            self._refuse(_start(event), "a merge key '<<' is not taken", _WRITE_OUT)
            self._skip_value(depth)
            made.values["<<"] = RefusedNode(_start(event))
            return
        key = self._node(event, depth + 1)
        if not isinstance(key, TextNode):
            if not isinstance(key, RefusedNode):
                self._refuse(key.start, "a key must be a plain text")
            self._node(next(self.events), depth + 1)
            return
        value = self._node(next(self.events), depth + 1)
        if key.text in made.keys:
            self._twice(key, made.keys[key.text])
            return
        made.keys[key.text] = key
        made.values[key.text] = value

    def _skip_value(self, depth: int) -> None:
        event = next(self.events)
        if isinstance(event, yaml.AliasEvent):
            self.used.add(str(event.anchor))
        else:
            self._node(event, depth + 1)

    def _alias(self, name: Any, start: int) -> Node:
        self.used.add(name)
        index, node = self.anchors.get(name, (None, None))
        line = self.document.place(index)[0] if index is not None else None
        where = f"; its anchor stands on line {line}" if line else ""
        what = f"the alias '*{_short(name)}' is not taken{where}"
        self._refuse(start, what, _WRITE_OUT, len(name) + 1)
        if isinstance(node, TextNode):
            return node._replace(start=start, end=start + len(name) + 1)
        return RefusedNode(start)

    def _twice(self, key: TextNode, first: TextNode) -> None:
        place = self.document.place(first.start)
        problem = self.document.problem_at(
            key.start,
            f"the key '{_short(key.text)}' is written twice in one mapping",
            f"first written at line {place[0]}, column {place[1]}; keep one of them",
            width=len(key.text),
        )
        excerpt = f"{self.document.excerpt(first.start, len(first.text))}\n{problem.excerpt}"
        self._note(replace(problem, excerpt=excerpt))

    def _broken(self, error: yaml.MarkedYAMLError) -> None:
        begun = error.context_mark
        where = f" that begins on line {begun.line + 1}" if begun else ""
        doing = f" ({error.context}{where})" if error.context else ""
        mark = error.problem_mark or begun
        index = min(mark.index, len(self.document.text)) if mark else 0
        self._refuse(index, f"this is not YAML: {error.problem}{doing}", _BROKEN)

    def _stop(self, index: int, message: str, help: str) -> NoReturn:
        self._refuse(index, message, help)
        raise _StopReadingError

    def _refuse(self, index: int, message: str, help: str = "", width: int = 1) -> None:
        self._note(self.document.problem_at(index, message, help, width=width))

    def _note(self, problem: Problem) -> None:
        self.problems.append(problem)
        if len(self.problems) > MOST_PROBLEMS:
            raise _StopReadingError
