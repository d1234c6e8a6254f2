"""Makes the typed tree of a condition of its form, with every name, type and unit checked."""

import ast
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from qa_engine.conditions.grammar import FUNCTIONS, GRAMMAR, Fault
from qa_engine.conditions.limit import Limit
from qa_engine.conditions.numbers import (
    Constant,
    Extreme,
    Measured,
    Negative,
    Number,
    Reckoned,
    Size,
    finite,
    reckon,
)
from qa_engine.conditions.pairs import Pairs
from qa_engine.conditions.terms import (
    NUMBERS,
    VERDICTS,
    Quoted,
    Records,
    Term,
    Unsure,
    Words,
    common_unit,
    described,
    in_unit,
    together,
    unit_of,
)
from qa_engine.conditions.verdicts import All, Either, Not, Open, Recorded, Stated, Verdict
from qa_engine.errors import nearest
from qa_engine.facts.fact import Fact
from qa_engine.units import unit

_SIGNS: dict[type[ast.operator], str] = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/"}
_CONSTANTS = (True, False, None)


@dataclass(frozen=True)
class Vocabulary:
    """What a condition may name.

    Attributes:
        facts: the facts of the subject.
        limits: the limits of the rule.
        subject: the kind of subject, for messages.
        unsure: names that are taken without complaint and leave open what they stand in.
        all_unsure: whether that goes for every name that is not known.
    """

    facts: Mapping[str, Fact]
    limits: Mapping[str, Limit]
    subject: str = "subject"
    unsure: Collection[str] = ()
    all_unsure: bool = False


@dataclass
class Checker:
    """Walks the form of one condition; ``faults`` and the names met are its by-products."""

    text: str
    vocabulary: Vocabulary
    faults: list[Fault] = field(default_factory=list)
    names: dict[str, None] = field(default_factory=dict)
    limits: dict[str, None] = field(default_factory=dict)
    unknown: dict[str, None] = field(default_factory=dict)
    weighed: set[str] = field(default_factory=set)

    def verdict(self, node: ast.expr) -> Verdict:
        """Return what an expression says, if it can hold or not; else note the fault."""
        term = self.term(node)
        if isinstance(term, VERDICTS):
            return term
        if not isinstance(term, Unsure):
            what = f"{self.quoted(node)} is {described(term)}, which cannot hold or fail"
            self.fault(node, what, "compare it with something")
        return Open()

    def term(self, node: ast.expr) -> Term:
        """Return what an expression is."""
        match node:
            case ast.Name():
                return self._name(node)
            case ast.Constant():
                return self._constant(node)
            case ast.BoolOp():
                parts = tuple(self.verdict(part) for part in node.values)
                return All(parts) if isinstance(node.op, ast.And) else Either(parts)
            case ast.UnaryOp(op=ast.Not()):
                return Not(self.verdict(node.operand))
            case ast.UnaryOp(op=ast.USub()):
                return self._negative(node)
            case ast.BinOp():
                return self._reckoned(node)
            case ast.Compare():
                return self._compared(node)
            case ast.Call():
                return self._called(node)
            case ast.Tuple() | ast.List():
                return self.fault(node, "a list can stand only after 'in'")
        return self.fault(node, f"{self.quoted(node)} is not part of conditions", GRAMMAR)

    def fault(self, node: ast.expr, message: str, help: str = "") -> Unsure:
        """Note what is wrong with an expression, and leave it out of further checks."""
        width = (node.end_col_offset or node.col_offset) - node.col_offset
        found = Fault(node.col_offset, message, help, width)
        if found not in self.faults:  # the middle of a chained comparison is looked at twice
            self.faults.append(found)
        return Unsure()

    def source(self, node: ast.expr) -> str:
        """Return how an expression was written."""
        return self.text[node.col_offset : node.end_col_offset]

    def quoted(self, node: ast.expr) -> str:
        """Return how an expression was written, in quotes."""
        source = self.source(node)
        return source if isinstance(node, ast.Constant) and source[0] in "\"'" else f"'{source}'"

    def _name(self, node: ast.Name) -> Term:
        name = node.id
        if name in self.vocabulary.facts:
            self.names.setdefault(name)
            self.weighed.add(name)
            return _fact_term(self.vocabulary.facts[name])
        if name in self.vocabulary.limits:
            self.limits.setdefault(name)
            return self.vocabulary.limits[name].number
        return self._unknown(node)

    def _unknown(self, node: ast.Name) -> Unsure:
        name = node.id
        if name in self.vocabulary.unsure:
            self.limits.setdefault(name)
            return Unsure()
        if name in FUNCTIONS:
            return self.fault(node, f"'{name}' is a function", f"write {name}(...)")
        if self.vocabulary.all_unsure:
            self.names.setdefault(name)
            self.unknown.setdefault(name)
            self.weighed.add(name)
            return Unsure()
        about = self.vocabulary.subject.replace("_", " ")
        hint = nearest(name, (*self.vocabulary.facts, *self.vocabulary.limits, *FUNCTIONS))
        what = f"'{name}' is neither a fact of a {about} nor a limit of this rule"
        return self.fault(node, what, hint or f"the catalogue lists the facts of a {about}")

    def _constant(self, node: ast.Constant) -> Term:
        if isinstance(node.value, str):
            return Quoted(node.value)
        if any(node.value is one for one in _CONSTANTS):
            help = "write a yes-or-no fact alone, or after 'not'; recorded(x) asks for evidence"
            return self.fault(node, f"{self.quoted(node)} is not part of conditions", help)
        number = finite(node.value)
        if number is None:
            return self.fault(node, f"{self.quoted(node)} is not a number that can be used")
        return Constant(number, None)

    def _number(self, node: ast.expr, doing: str) -> Number | None:
        """Return an expression that must be a number to reckon with, None after a fault."""
        term = self.term(node)
        if isinstance(term, Unsure):
            return None
        if not isinstance(term, NUMBERS):
            self.fault(node, f"{self.quoted(node)} is {described(term)}; {doing} takes numbers")
            return None
        if term.unit and term.unit.has_offset:
            what = f"{self.quoted(node)} is a temperature; {doing} cannot take it"
            self.fault(node, what, "a temperature can only be compared")
            return None
        return term

    def _negative(self, node: ast.UnaryOp) -> Term:
        inner = self._number(node.operand, "a minus")
        if isinstance(inner, Constant):
            return inner.mapped(lambda number: -number)
        return Unsure() if inner is None else Negative(inner)

    def _reckoned(self, node: ast.BinOp) -> Term:
        sign = _SIGNS.get(type(node.op))
        if sign is None:
            return self.fault(node, f"{self.quoted(node)} is not part of conditions", GRAMMAR)
        left, right = (self._number(side, f"'{sign}'") for side in (node.left, node.right))
        if left is None or right is None:
            return Unsure()
        if sign in ("+", "-"):
            pair = together(left, right)
            if pair is None:
                pairs = Pairs(self, "added" if sign == "+" else "subtracted")
                return pairs.refuse(node.left, left, node.right, right)
            left, right = pair
        of = unit_of(sign, left.unit, right.unit)
        if not (isinstance(left, Constant) and isinstance(right, Constant)):
            return Reckoned(sign, left, right, of)
        number = reckon(sign, left.number, right.number)
        if number is None:
            return self.fault(node, f"{self.quoted(node)} is not a finite number")
        return Constant(number, of)

    def _compared(self, node: ast.Compare) -> Term:
        sides = pairwise((node.left, *node.comparators))
        pairs = Pairs(self, "compared")
        parts = tuple(
            pairs.verdict(left, operator, right)
            for operator, (left, right) in zip(node.ops, sides, strict=True)
        )
        return parts[0] if len(parts) == 1 else All(parts)

    def _called(self, node: ast.Call) -> Term:
        name = node.func.id if isinstance(node.func, ast.Name) else ""
        if name not in FUNCTIONS:
            hint = nearest(name, FUNCTIONS) or f"the functions are {', '.join(FUNCTIONS)}"
            return self.fault(node.func, f"{self.quoted(node.func)} is not a function here", hint)
        takes_one = name in ("recorded", "abs")
        if node.keywords or (len(node.args) != 1 if takes_one else len(node.args) < 2):
            wanted = "one part" if takes_one else "two or more parts"
            return self.fault(node, f"{name} takes {wanted} in its brackets")
        if name == "recorded":
            return self._recorded(node.args[0])
        numbers = [self._number(argument, name) for argument in node.args]
        known = [number for number in numbers if number is not None]
        if len(known) < len(numbers):
            return Unsure()
        return Size(known[0]) if name == "abs" else self._extreme(name, node, known)

    def _recorded(self, node: ast.expr) -> Term:
        if not isinstance(node, ast.Name) or node.id in self.vocabulary.limits:
            what = f"recorded takes the name of a fact, not {self.quoted(node)}"
            return self.fault(node, what)
        if node.id not in self.vocabulary.facts:
            return self._unknown(node)
        self.names.setdefault(node.id)
        return Recorded(node.id)

    def _extreme(self, name: str, node: ast.Call, numbers: list[Number]) -> Term:
        first = next((at for at, number in enumerate(numbers) if number.unit), 0)
        for at, number in enumerate(numbers):
            if together(numbers[first], number) is None:
                told = (node.args[first], numbers[first], node.args[at], number)
                return Pairs(self, "compared").refuse(*told)
        wanted = common_unit(number.unit for number in numbers)
        brought = (in_unit(number, wanted) if wanted else number for number in numbers)
        return Extreme(name, tuple(brought), wanted)


def _fact_term(fact: Fact) -> Term:
    match fact.type:
        case "number":
            return Measured(fact.name, unit(fact.unit or "1"))
        case "words":
            return Words(fact.name, fact.words)
        case "yes/no":
            return Stated(fact.name)
    return Records(fact.name)
