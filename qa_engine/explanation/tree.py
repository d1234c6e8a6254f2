"""Why a rule gave a subject its outcome: its conditions part by part, and which parts decided.

The conditions are looked at as they are written, and each comparison in them is asked of the one
subject, so an explanation says what was judged and nothing else.
"""

import ast
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Literal

from qa_engine.conditions import Condition, guards_in
from qa_engine.conditions.grammar import FUNCTIONS, Fault, read_form
from qa_engine.conditions.verdicts import All, Either, Not, Verdict
from qa_engine.conformity import CONFORMS, NOT_APPLICABLE
from qa_engine.explanation.comparing import Comparison, comparison_of
from qa_engine.facts.fact import UNCERTAINTY
from qa_engine.rulesets import Rule

Known = Mapping[str, object]
"""The facts of one subject by name, numbers in the fact's own unit; None or absent is missing."""


@dataclass(frozen=True)
class Part:
    """A part of a condition, with what it came to for one subject.

    Attributes:
        text: as written.
        offset: where it starts in the condition [characters].
        holds: whether it holds; None where that is open.
        joined: how its parts are joined; empty if it is a single comparison.
        parts: what it is joined of.
        names: the facts and limits it names, in order.
        compared: what was held against what, if it is a single comparison.
        decisive: whether the outcome rests on it.
    """

    text: str
    offset: int
    holds: bool | None
    joined: Literal["", "and", "or", "not"]
    parts: tuple["Part", ...] = ()
    names: tuple[str, ...] = ()
    compared: Comparison | None = None
    decisive: bool = False

    @property
    def comparisons(self) -> Iterator["Part"]:
        """Yield the single comparisons in it, in order."""
        if not self.joined:
            yield self
        for part in self.parts:
            yield from part.comparisons


@dataclass(frozen=True)
class Explanation:
    """Why a rule gave one subject its outcome.

    Attributes:
        rule: the rule.
        known: what was known of the subject.
        applies: whether the rule applies, part by part; None for a rule without ``applies_if``.
        requires: whether the requirement holds, part by part.
        outcome: the outcome, as ``qa_engine.conformity`` codes it.
    """

    rule: Rule = field(repr=False)
    known: Known
    applies: Part | None
    requires: Part
    outcome: int

    @property
    def decisive(self) -> list[Part]:
        """Return the comparisons that the outcome rests on, those of ``applies_if`` first."""
        wholes = (self.applies, self.requires)
        return [part for whole in wholes if whole for part in whole.comparisons if part.decisive]

    @property
    def missing(self) -> tuple[str, ...]:
        """Return the facts for lack of which a decisive comparison stays open."""
        needed = [name for part in self.decisive if part.holds is None for name in part.names]
        choosing = {name: limit.by for name, limit in self.rule.limits.items() if limit.by}
        facts = dict.fromkeys(choosing.get(name, name) for name in needed)
        gone = [n for n in facts if n not in self.rule.limits and self.known.get(n) is None]
        # Of what is not known at all, the uncertainty is not missed besides.
        return tuple(
            name
            for name in gone
            if name.removeprefix(UNCERTAINTY) == name or name.removeprefix(UNCERTAINTY) not in gone
        )


def explain(rule: Rule, known: Known) -> Explanation:
    """Return why a rule gives a subject its outcome.

    Args:
        rule: the rule.
        known: the facts of the subject, numbers in the fact's own unit.
    """
    applies = part_of(rule.applies_if, known) if rule.applies_if else None
    requires = part_of(rule.requires, known)
    outcome = rule.outcome_of_one(known)
    for_rule = applies is not None and not (outcome == CONFORMS and applies.holds is None)
    return Explanation(
        rule,
        known,
        _marked(applies, for_rule) if applies else None,
        _marked(requires, outcome != NOT_APPLICABLE),
        outcome,
    )


def part_of(condition: Condition, known: Known) -> Part:
    """Return a condition part by part, nothing in it marked as decisive yet."""
    form = read_form(condition.text)
    if isinstance(form, Fault):  # it was read before, when its rule was
        raise ValueError(f"not a condition: {condition.text!r}")
    return _Reading(condition.text, known).part(form, condition.verdict)


@dataclass(frozen=True)
class _Reading:
    """Reads a condition along its form and its checked tree.

    Both have the same joints, but where a guard holds one number between two limits at once; that
    is then a single comparison.
    """

    text: str
    known: Known

    def part(self, form: ast.expr, verdict: Verdict) -> Part:
        match form, verdict:
            case ast.BoolOp(values=values), All(parts) | Either(parts) if len(values) == len(parts):
                joined: Literal["and", "or"] = "and" if isinstance(form.op, ast.And) else "or"
                inner = [self.part(*pair) for pair in zip(values, parts, strict=True)]
                return self._joined(form, verdict, joined, inner)
            case ast.UnaryOp(op=ast.Not(), operand=operand), Not(of) if _has_parts(operand):
                return self._joined(form, verdict, "not", [self.part(operand, of)])
            case ast.Compare(ops=[_, _, *_] as ops), All(parts) if len(ops) == len(parts):
                sides = pairwise((form.left, *form.comparators))
                inner = [self._single(*pair, of) for pair, of in zip(sides, parts, strict=True)]
                return self._joined(form, verdict, "and", inner)
        return self._single(form, form, verdict)

    def _joined(
        self,
        form: ast.expr,
        verdict: Verdict,
        joined: Literal["and", "or", "not"],
        parts: Sequence[Part],
    ) -> Part:
        return Part(
            self.text[form.col_offset : form.end_col_offset],
            form.col_offset,
            verdict.of_one(self.known),
            joined,
            tuple(parts),
            tuple(dict.fromkeys(name for part in parts for name in part.names)),
        )

    def _single(self, first: ast.expr, last: ast.expr, verdict: Verdict) -> Part:
        found = (node for form in (first, last) for node in ast.walk(form))
        names = sorted(
            {(n.col_offset, n.id) for n in found if isinstance(n, ast.Name)} - _called(first, last)
        )
        return Part(
            self.text[first.col_offset : last.end_col_offset],
            first.col_offset,
            verdict.of_one(self.known),
            "",
            names=tuple(dict.fromkeys((*(name for _, name in names), *_uncertainties(verdict)))),
            compared=comparison_of(verdict, self.known),
        )


def _uncertainties(verdict: Verdict) -> list[str]:
    """Return the facts that guards read beside those that the condition names."""
    return [UNCERTAINTY + name for guard in guards_in(verdict) for name in guard.measured]


def _has_parts(form: ast.expr) -> bool:
    return isinstance(form, ast.BoolOp) or (isinstance(form, ast.Compare) and len(form.ops) > 1)


def _called(*forms: ast.expr) -> set[tuple[int, str]]:
    """Return the functions that a form calls, with where they stand."""
    nodes = (node for form in forms for node in ast.walk(form))
    names = (n for n in nodes if isinstance(n, ast.Name) and n.id in FUNCTIONS)
    return {(name.col_offset, name.id) for name in names}


def _marked(part: Part, decides: bool) -> Part:
    """Mark what a part rests on, by Kleene's logic: one that settles it, else all of them."""
    if not decides or not part.joined:
        return replace(part, decisive=decides, parts=tuple(_marked(p, False) for p in part.parts))
    settles_alone = {"and": False, "or": True}.get(part.joined)
    all_count = part.joined == "not" or part.holds is (not settles_alone)
    parts = (_marked(p, all_count or p.holds is part.holds) for p in part.parts)
    return replace(part, decisive=True, parts=tuple(parts))
