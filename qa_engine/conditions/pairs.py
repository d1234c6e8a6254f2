"""Pairs in a condition that are held against each other: whether they can be, and how."""

import ast
from dataclasses import dataclass
from typing import TYPE_CHECKING

from qa_engine.conditions.numbers import Chosen, Constant, Number
from qa_engine.conditions.terms import (
    NUMBERS,
    VERDICTS,
    Quoted,
    Term,
    Unsure,
    Words,
    described,
    together,
    units_like,
    without_dimension,
)
from qa_engine.conditions.verdicts import Either, Not, Open, SameWord, Verdict, compared
from qa_engine.errors import nearest

if TYPE_CHECKING:
    from qa_engine.conditions.checking import Checker

_SIGNS: dict[type[ast.cmpop], str] = {
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
}
_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "==": "==", "!=": "!="}


@dataclass(frozen=True)
class Pairs:
    """Checks pairs for a checker; ``done`` is what is done with them, as messages put it."""

    checker: "Checker"
    done: str

    def verdict(self, left: ast.expr, operator: ast.cmpop, right: ast.expr) -> Verdict:
        """Return what a comparison says, open after a fault."""
        if isinstance(operator, ast.In | ast.NotIn):
            found = self._listed(left, right)
            return found if isinstance(operator, ast.In) else Not(found)
        sign = _SIGNS.get(type(operator))
        if sign is None:
            self.checker.fault(left, "'is' is not part of conditions", "write == or !=")
            return Open()
        terms = self.checker.term(left), self.checker.term(right)
        return self._held(sign, (left, terms[0]), (right, terms[1]))

    def refuse(self, at: ast.expr, left: Term, at_right: ast.expr, right: Term) -> Unsure:
        """Note that two parts cannot come together, told by what each of them is."""
        quoted = self.checker.quoted
        what = (
            f"{quoted(at)} is {described(left)} and {quoted(at_right)} is {described(right)}; "
            f"they cannot be {self.done}"
        )
        guilty = at if isinstance(left, Constant) and left.unit is None else at_right
        return self.checker.fault(guilty, what, _what_would_do(left, right))

    def _held(
        self, sign: str, left: tuple[ast.expr, Term], right: tuple[ast.expr, Term]
    ) -> Verdict:
        (at, one), (at_right, other) = left, right
        if isinstance(one, Unsure) or isinstance(other, Unsure):
            return Open()
        if isinstance(one, NUMBERS) and isinstance(other, NUMBERS):
            pair = together(one, other)
            if pair is not None:
                return _compared(sign, *pair)
        elif sign in ("==", "!=") and isinstance(one, Words | Quoted):
            same = self._same_word(left, right)
            if same is not None:
                return same if sign == "==" else Not(same)
        self.refuse(at, one, at_right, other)
        return Open()

    def _same_word(
        self, left: tuple[ast.expr, Term], right: tuple[ast.expr, Term]
    ) -> Verdict | None:
        """Return whether two words are the same, None if the pair makes no sense."""
        if isinstance(left[1], Quoted):
            left, right = right, left
        fact, other = left[1], right[1]
        if not isinstance(fact, Words):
            return None
        if isinstance(other, Words):
            return SameWord(fact.name, other.name, other_fact=True)
        if not isinstance(other, Quoted):
            return None
        if fact.words and other.word not in fact.words:
            hint = nearest(other.word, fact.words)
            listed = "it is one of: " + ", ".join(fact.words)
            what = f"'{fact.name}' is never '{other.word}'"
            self.checker.fault(right[0], what, f"{hint} {listed}".strip())
        return SameWord(fact.name, other.word)

    def _listed(self, left: ast.expr, right: ast.expr) -> Verdict:
        term = self.checker.term(left)
        if not isinstance(right, ast.Tuple | ast.List) or not right.elts:
            help = 'a list is written ("flowing", "standing"), with a comma even for one word'
            self.checker.fault(right, "'in' takes a list of words or numbers", help)
            return Open()
        return Either(tuple(self._member((left, term), member) for member in right.elts))

    def _member(self, left: tuple[ast.expr, Term], member: ast.expr) -> Verdict:
        term = self.checker.term(member)
        if isinstance(term, Quoted | Unsure) or (isinstance(term, Constant) and term.unit is None):
            return self._held("==", left, (member, term))
        what = f"{self.checker.quoted(member)} cannot stand in a list"
        self.checker.fault(member, what, "a list holds quoted words or bare numbers")
        return Open()


def _compared(sign: str, left: Number, right: Number) -> Verdict:
    """Return a comparison, turned so that what is fixed stands right and takes the slack."""
    if isinstance(left, Constant | Chosen) and not isinstance(right, Constant | Chosen):
        return compared(_TURNED[sign], right, left)
    return compared(sign, left, right)


def _what_would_do(left: Term, right: Term) -> str:
    if isinstance(left, NUMBERS) and isinstance(right, NUMBERS):
        bare = left.unit is None or right.unit is None
        unit = left.unit or right.unit
        alike = ", ".join(units_like(unit)) if unit else ""
        if bare and unit and not without_dimension(unit):
            return f"write the number as a limit, with one of the units {alike}, and name it here"
        return f"what goes with {left.unit.name} is: {alike}" if left.unit and alike else ""
    for term in (left, right):
        if isinstance(term, VERDICTS):
            return "write a yes-or-no fact alone, or after 'not'"
        if isinstance(term, Words):
            return "a fact of words is compared by == or != or in, with quoted words"
    return ""
