"""A YAML file as a tree that knows where everything stands."""

import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

from qa_engine.yaml_tree.problem import Problem

WIDEST_EXCERPT = 100
"""Longest piece of a source line that a problem shows [characters]."""

MISSING = ("", "~", "null", "Null", "NULL")
"""Plain scalars that stand for no value."""

HIDDEN = re.compile(
    "[^\t\n\r\x20-\x7e\xa0-\u2027\u2030-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]"
    "|[\u202a-\u202e\u2066-\u2069]"
)
"""Characters that YAML or the eye cannot take: controls, further line ends, turned directions."""

Path = tuple[str | int, ...]
"""The way from the root of a document to a value: keys and indices."""

_LINE_END = re.compile(r"\r\n|\n|\r")


class TextNode(NamedTuple):
    """A scalar: its text, its style ('' if plain) and where it starts and ends in the file."""

    text: str
    style: str
    start: int
    end: int

    @property
    def is_missing(self) -> bool:
        """Tell whether this stands for no value; a quoted text never does."""
        return not self.style and self.text in MISSING


class ListNode(NamedTuple):
    """A list, and where it starts in the file."""

    items: "list[Node]"
    start: int


class MapNode(NamedTuple):
    """A mapping: values and keys by the text of the key, and where it starts in the file."""

    values: "dict[str, Node]"
    keys: dict[str, TextNode]
    start: int


class RefusedNode(NamedTuple):
    """What stands for a part that was refused; its problem is already on the list.

    Under the key ``<<`` it stands for what a merge key would have brought into a mapping.
    """

    start: int


Node = TextNode | ListNode | MapNode | RefusedNode


@dataclass(frozen=True, eq=False)
class Document:
    """A YAML file as a tree, with the problems found while reading it.

    Attributes:
        source: the file, as the reader named it.
        text: what it holds, without a byte order mark.
        root: its tree; a refused node if nothing could be read.
        problems: what had to be refused.
    """

    source: str
    text: str
    root: Node
    problems: tuple[Problem, ...]

    @cached_property
    def data(self) -> Any:
        """Return the tree as dicts, lists, texts and None; a refused part is None."""
        return _plain(self.root)

    def node(self, path: Path) -> Node | None:
        """Return the node at a path, None if there is none."""
        node: Node | None = self.root
        for step in path:
            node = _child(node, step)
        return node

    def is_refused(self, path: Path) -> bool:
        """Tell whether a part on the way to a path was refused, so that nothing is said twice."""
        nodes = (self.node(path[:length]) for length in range(len(path) + 1))
        return any(isinstance(node, RefusedNode) for node in nodes)

    def may_lack(self, path: Path) -> bool:
        """Tell whether a mapping was to get keys from elsewhere, so that none is called missing."""
        return self.is_refused(path) or self.is_refused((*path, "<<"))

    def problem(self, path: Path, message: str, help: str = "", *, key: bool = False) -> Problem:
        """Return a problem at a path, or at the nearest part above it that exists.

        Args:
            path: keys and indices from the root.
            message: what is wrong.
            help: what would do.
            key: whether the key is guilty, not its value.
        """
        parent = self.node(path[:-1]) if key and path else None
        if isinstance(parent, MapNode) and path[-1] in parent.keys:
            found = parent.keys[str(path[-1])]
            return self.problem_at(found.start, message, help, width=len(found.text))
        node = self._nearest(path)
        return self.problem_at(node.start, message, help, width=_width(node))

    def place_of(self, path: Path) -> tuple[int, int]:
        """Return line and column of what stands at a path, or of the nearest part above it."""
        return self.place(self._nearest(path).start)

    def _nearest(self, path: Path) -> Node:
        while path and self.node(path) is None:
            path = path[:-1]
        return self.node(path) or self.root

    def problem_in(
        self, path: Path, offset: int, message: str, help: str = "", *, width: int = 1
    ) -> Problem:
        """Return a problem inside the text at a path, ``offset`` characters into it.

        Where the text cannot be followed through the file (escapes), it points at its start.
        """
        node = self.node(path)
        at = self._index_in(node, offset) if isinstance(node, TextNode) else None
        if at is None:
            return self.problem(path, message, help)
        return self.problem_at(at, message, help, width=width)

    def problem_at(self, index: int, message: str, help: str = "", *, width: int = 1) -> Problem:
        """Return a problem at a character of the file, ``width`` characters wide."""
        line, column = self.place(index)
        excerpt = self.excerpt(index, width)
        return Problem(self.source, line, column, message, help, excerpt)

    def place(self, index: int) -> tuple[int, int]:
        """Return line and column of a character of the file, both from 1."""
        line = bisect_right(self._line_starts, index)
        return line, index - self._line_starts[line - 1] + 1

    def excerpt(self, index: int, width: int = 1) -> str:
        """Return the line of a character with carets under it, cut to a readable length."""
        line, column = self.place(index)
        begins, ends = [*self._line_starts[line - 1 : line + 1], len(self.text)][:2]
        cut = max(0, column - WIDEST_EXCERPT // 2) if ends - begins > WIDEST_EXCERPT else 0
        written = self.text[begins + cut : min(ends, begins + cut + WIDEST_EXCERPT)]
        shown = HIDDEN.sub("?", written.rstrip("\r\n").replace("\t", " "))
        carets = "^" * max(1, min(width, len(shown) - (column - 1 - cut)))
        return f"{line:>5} | {shown}\n      | {' ' * (column - 1 - cut)}{carets}"

    @cached_property
    def _line_starts(self) -> list[int]:
        return [0, *(found.end() for found in _LINE_END.finditer(self.text))]

    def _index_in(self, node: TextNode, offset: int) -> int | None:
        """Follow the text through the file, blanks aside, and return where ``offset`` stands."""
        start = node.start + 1 if node.style else node.start
        if node.style in ("|", ">"):
            header = _LINE_END.search(self.text, node.start)
            start = header.end() if header else node.end
        wanted = [char for char in node.text[: offset + 1] if not char.isspace()]
        written = (at for at in range(start, node.end) if not self.text[at].isspace())
        at = None
        for char, at in zip(wanted, written, strict=False):
            if self.text[at] != char:
                return None
        return at


def flatten(messages: Any, path: Path = ()) -> Iterator[tuple[Path, str]]:
    """Yield every message of a schema's nested errors with the path it belongs to.

    Messages about a whole mapping, which schemas file under ``_schema``, keep the mapping's path.
    """
    if isinstance(messages, dict):
        for key, inner in messages.items():
            yield from flatten(inner, path if key == "_schema" else (*path, key))
    elif isinstance(messages, list):
        for inner in messages:
            yield from flatten(inner, path)
    else:
        yield path, messages if isinstance(messages, str) else str(messages)


def _plain(node: Node) -> Any:
    match node:
        case TextNode():
            return None if node.is_missing else node.text
        case ListNode():
            return [_plain(item) for item in node.items]
        case MapNode():
            return {key: _plain(value) for key, value in node.values.items()}
    return None


def _child(node: Node | None, step: str | int) -> Node | None:
    if isinstance(node, MapNode) and isinstance(step, str):
        return node.values.get(step)
    if isinstance(node, ListNode) and isinstance(step, int) and step < len(node.items):
        return node.items[step]
    return None


def _width(node: Node | None) -> int:
    return max(1, node.end - node.start) if isinstance(node, TextNode) else 1
