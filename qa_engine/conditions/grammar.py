"""The form of a condition: a small part of Python's expressions, looked at but never run.

The text is cut into tokens first, and only if each of them is of a kind that conditions know does
Python's parser see it; length, number of tokens, brackets, nodes and depth are capped.
"""

import ast
import re
from dataclasses import dataclass
from itertools import pairwise

LONGEST = 1000
"""Most characters of a condition."""

MOST_TOKENS = 300
MOST_NODES = 300
DEEPEST = 30
"""How deep brackets, and the parts of a condition, may be nested."""

FUNCTIONS = ("recorded", "abs", "min", "max")
"""The functions that a condition may call."""

GRAMMAR = (
    "a condition is made of names, numbers, quoted words, comparisons, and, or, not, in, + - * / "
    "and " + ", ".join(FUNCTIONS)
)

_TOKEN = re.compile(
    r"""(?P<blank>\ +)
      | (?P<name>[A-Za-z_][A-Za-z0-9_]*)
      | (?P<number>(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)
      | (?P<words>"[^"]*"|'[^']*')
      | (?P<sign>==|!=|<=|>=|[-+*/<>(),\[\]])""",
    re.VERBOSE | re.ASCII,
)
_ODD = re.compile(r"[^\x20-\x7e]|[#\\]")
_JOINING = ("and", "or", "not", "in", "is", "if", "else")
_USE_LIMIT = "quantities live in `limits`: write the number with its unit there and name it here"
_INSTEAD = {
    "#": "notes belong outside of the condition",
    "\\": "leave it out",
    "=": "a comparison is written ==",
    "&": "write: and",
    "|": "write: or",
    "!": "write: not",
    "%": _USE_LIMIT,
    ".": "a name is one word, without dots",
}


@dataclass(frozen=True)
class Fault:
    """What is wrong inside a condition: where it starts, how wide it is, what would do."""

    offset: int
    message: str
    help: str = ""
    width: int = 1


def read_form(text: str) -> ast.expr | Fault:
    """Return the expression that a condition is, or the first thing wrong with its form."""
    if len(text) > LONGEST:
        return Fault(0, f"the condition has {len(text)} characters", f"{LONGEST} are the most")
    flat = text.replace("\n", " ").rstrip()
    odd = _ODD.search(flat)
    fault = _strange(flat, odd.start()) if odd else _wrong_token(flat)
    if fault:
        return fault
    indent = len(flat) - len(flat.lstrip())
    try:
        body = ast.parse(flat.lstrip(), mode="eval").body
    except SyntaxError as error:
        found = error.offset - 1 if error.offset else len(flat)
        offset = min(found + indent, len(flat) - 1)
        return Fault(offset, f"this is not a condition: {error.msg}", GRAMMAR)
    except (RecursionError, MemoryError, ValueError):
        return Fault(0, "the condition cannot be read", "split it into several rules")
    _shift(body, indent)
    return _too_big(body) or body


def _wrong_token(text: str) -> Fault | None:
    tokens: list[re.Match[str]] = []
    at = 0
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None:
            return _strange(text, at)
        if found.lastgroup != "blank":
            tokens.append(found)
        at = found.end()
    if not tokens:
        return Fault(0, "the condition is empty", GRAMMAR)
    if len(tokens) > MOST_TOKENS:
        return Fault(0, f"the condition has {len(tokens)} parts", f"{MOST_TOKENS} are the most")
    return _nested(tokens) or _side_by_side(tokens)


def _strange(text: str, at: int) -> Fault:
    char = text[at]
    if char in "\"'":
        return Fault(at, "a quoted word is not closed", f"close it with {char}")
    shown = f"'{char}'" if char.isprintable() else f"the character U+{ord(char):04X}"
    return Fault(at, f"{shown} is not part of conditions", _INSTEAD.get(char, GRAMMAR))


def _nested(tokens: list[re.Match[str]]) -> Fault | None:
    depth = 0
    for token in tokens:
        depth += (token[0] in ("(", "[")) - (token[0] in (")", "]"))
        if depth > DEEPEST:
            return Fault(token.start(), f"brackets are nested more than {DEEPEST} deep")
    return None


def _side_by_side(tokens: list[re.Match[str]]) -> Fault | None:
    """Find neighbours that Python would read in ways that conditions do not have."""
    for one, other in pairwise(tokens):
        kinds = (one.lastgroup, other.lastgroup)
        touching = one.end() == other.start()
        if kinds == ("number", "name") and other[0] not in _JOINING:
            written = one[0] + ("" if touching else " ") + other[0]
            what = f"'{written}' is not a plain number"
            return Fault(one.start(), what, _USE_LIMIT, other.end() - one.start())
        if kinds == ("words", "words") or (kinds == ("name", "words") and touching):
            return Fault(other.start(), "a quoted word cannot stand here", "join with and, or, ==")
        if kinds in (("number", "name"), ("number", "number")) and touching:
            return Fault(other.start(), "a blank is missing here")
    return None


def _shift(body: ast.expr, by: int) -> None:
    for node in ast.walk(body) if by else ():
        if isinstance(node, ast.expr):
            node.col_offset += by
            node.end_col_offset = (node.end_col_offset or 0) + by


def _too_big(body: ast.expr) -> Fault | None:
    layer: list[ast.AST] = [body]
    nodes = depth = 0
    while layer:
        nodes, depth = nodes + len(layer), depth + 1
        if nodes > MOST_NODES or depth > DEEPEST:
            return Fault(0, "the condition is too involved", "split it into several rules")
        layer = [inner for node in layer for inner in ast.iter_child_nodes(node)]
    return None
