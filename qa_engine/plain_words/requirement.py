"""A condition as a clause of plain English."""

import ast
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby, pairwise

from qa_engine.conditions import Limit
from qa_engine.conditions.grammar import Fault, read_form
from qa_engine.plain_words.amounts_told import Amounts
from qa_engine.plain_words.things import DAYS_TO, noun, statement

_SIGNS: dict[type[ast.cmpop], str] = {
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
}
_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "==": "==", "!=": "!="}
_CONTRARY = {"<": ">=", ">=": "<", "<=": ">", ">": "<=", "==": "!=", "!=": "=="}
_IS = {
    "<": "is below",
    "<=": "is at most",
    ">": "is above",
    ">=": "is at least",
    "==": "is",
    "!=": "is not",
}
_IS_DAY = {
    "<": "has passed",
    "<=": "has come",
    ">": "is still to come",
    ">=": "has not passed",
    "==": "is today",
    "!=": "is not today",
}


def in_words(text: str, limits: Mapping[str, Limit]) -> str:
    """Return a condition as a clause in plain words, without a full stop.

    Args:
        text: the condition as the rule writes it.
        limits: the limits of the rule; they are told by their value.
    """
    form = read_form(text)
    if isinstance(form, Fault):
        return text
    return Clauses(Amounts(limits)).told(form, holds=True).text


@dataclass(frozen=True)
class Clause:
    """A clause in words; ``joined`` if it has an "and" or "or" that could be taken wrongly."""

    text: str
    joined: bool = False


@dataclass(frozen=True)
class Leaf:
    """A part of a condition that is not joined of others, and whether it must hold.

    Attributes:
        node: the part.
        holds: whether it is told as holding.
        alike: what neighbours must share to be told in one clause with it.
    """

    node: ast.expr
    holds: bool
    alike: tuple[str, ...]


@dataclass(frozen=True)
class Clauses:
    """Tells the verdicts of a condition, as holding or as not holding."""

    amounts: Amounts

    def told(self, node: ast.expr, holds: bool) -> Clause:
        """Return a part of a condition in words."""
        match node:
            case ast.BoolOp():
                return self._all_of(node, holds)
            case ast.UnaryOp(op=ast.Not()):
                return self.told(node.operand, not holds)
            case ast.Compare(ops=[ast.In() | ast.NotIn()]):
                return Clause(self._listed(node, holds))
            case ast.Compare():
                return self._compared(node, holds)
            case ast.Call():
                return Clause(_recorded([noun(_argument(node))], holds, "and"))
            case ast.Name():
                return Clause(statement(node.id, holds))
        return Clause(ast.unparse(node))

    def _all_of(self, node: ast.BoolOp, holds: bool) -> Clause:
        word = "and" if isinstance(node.op, ast.And) == holds else "or"
        leaves = [_leaf(part, holds) for part in node.values]
        parts: list[Clause] = []
        for _, group in groupby(enumerate(leaves), key=lambda pair: pair[1].alike or pair[0]):
            parts.append(self._together([leaf for _, leaf in group], word))
        if len(parts) == 1:
            return parts[0]
        return _joined(parts, word)

    def _together(self, leaves: list[Leaf], word: str) -> Clause:
        """Return neighbours that say something alike as one clause, if it can be said so."""
        first = leaves[0]
        if len(leaves) == 1:
            return self.told(first.node, first.holds)
        if first.alike[0] == "recorded":
            nouns = [noun(_argument(leaf.node)) for leaf in leaves]
            return Clause(_recorded(nouns, first.holds, word), joined=word == "or")
        if (first.alike[2] == "==") == (word == "or"):
            words = [self.amounts.told(_sides(leaf.node)[1]) for leaf in leaves]
            told = _one_of(noun(first.alike[1]), words, word == "or")
            return Clause(told, joined=word == "or")
        return _joined([self.told(leaf.node, leaf.holds) for leaf in leaves], word)

    def _listed(self, node: ast.Compare, holds: bool) -> str:
        members = node.comparators[0]
        words = [self.amounts.told(one) for one in getattr(members, "elts", [members])]
        positive = isinstance(node.ops[0], ast.In) == holds
        return _one_of(self.amounts.told(node.left), words, positive)

    def _compared(self, node: ast.Compare, holds: bool) -> Clause:
        signs = [_SIGNS[type(op)] for op in node.ops]
        terms = [node.left, *node.comparators]
        if len(signs) == 2:
            return self._between(terms, signs, holds)
        pairs = pairwise(terms)
        parts = [
            Clause(self._pair(one, sign if holds else _CONTRARY[sign], other))
            for sign, (one, other) in zip(signs, pairs, strict=True)
        ]
        return parts[0] if len(parts) == 1 else _joined(parts, "and" if holds else "or")

    def _pair(self, left: ast.expr, sign: str, right: ast.expr) -> str:
        if self.amounts.is_fixed(left) and not self.amounts.is_fixed(right):
            left, right, sign = right, left, _TURNED[sign]
        return f"{self.amounts.told(left)} {self._predicate(left, sign, right)}"

    def _predicate(self, left: ast.expr, sign: str, right: ast.expr) -> str:
        counts_days = isinstance(left, ast.Name) and left.id in DAYS_TO
        if counts_days and self.amounts.is_zero(right):
            return _IS_DAY[sign]
        away = " away" if counts_days else ""
        return f"{_IS[sign]} {self.amounts.told(right)}{away}"

    def _between(self, terms: list[ast.expr], signs: list[str], holds: bool) -> Clause:
        """Return what lies between two others: told once, with both of its bounds."""
        low, middle, high = terms
        if holds and signs == ["<=", "<="] and all(map(self.amounts.is_fixed, (low, high))):
            ends = f"{self.amounts.told(low)} to {self.amounts.told(high)}"
            return Clause(f"{self.amounts.told(middle)} is from {ends}")
        bounds = (_TURNED[signs[0]], low), (signs[1], high)
        told = [
            self._predicate(middle, sign if holds else _CONTRARY[sign], bound)
            for sign, bound in bounds
        ]
        first, second = told
        if first.startswith("is "):
            second = second.removeprefix("is ")
        word = "and" if holds else "or"
        return Clause(f"{self.amounts.told(middle)} {first} {word} {second}", joined=not holds)


def _leaf(node: ast.expr, holds: bool) -> Leaf:
    while isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        node, holds = node.operand, not holds
    if isinstance(node, ast.Call):
        return Leaf(node, holds, ("recorded", str(holds)))
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        left, right = _sides(node)
        sign = _SIGNS.get(type(node.ops[0]), "")
        if sign in ("==", "!=") and isinstance(left, ast.Name) and isinstance(right, ast.Constant):
            return Leaf(node, holds, ("word", left.id, sign if holds else _CONTRARY[sign]))
    return Leaf(node, holds, ())


def _sides(node: ast.expr) -> tuple[ast.expr, ast.expr]:
    """Return both sides of a comparison, a quoted word right."""
    assert isinstance(node, ast.Compare)
    left, right = node.left, node.comparators[0]
    return (right, left) if isinstance(left, ast.Constant) else (left, right)


def _argument(node: ast.expr) -> str:
    assert isinstance(node, ast.Call)
    return ast.unparse(node.args[0])


def _recorded(nouns: list[str], holds: bool, word: str) -> str:
    if len(nouns) == 1:
        return f"{nouns[0]} is {'' if holds else 'not '}recorded"
    if word == "and" and not holds:
        return f"neither {' nor '.join(nouns)} is recorded"
    verb = "are" if word == "and" else "is"
    return f"{_listing(nouns, word)} {verb} {'' if holds else 'not '}recorded"


def _one_of(about: str, words: list[str], positive: bool) -> str:
    if len(words) == 1:
        return f"{about} is {'' if positive else 'not '}{words[0]}"
    if positive:
        return f"{about} is {_listing(words, 'or')}"
    return f"{about} is neither {' nor '.join(words)}"


def _listing(parts: list[str], word: str) -> str:
    return f"{', '.join(parts[:-1])} {word} {parts[-1]}"


def _joined(parts: list[Clause], word: str) -> Clause:
    """Return clauses joined by a word, with commas where one of them is joined itself."""
    texts = [part.text for part in parts]
    if not any(part.joined for part in parts):
        return Clause(_listing(texts, word), joined=True)
    text = f", {word} ".join(texts)
    return Clause(f"either {text}" if word == "or" else text, joined=True)
