"""Limits finer than what the meters in the register can show."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from qa_engine.conditions.numbers import Chosen, Constant, Measured
from qa_engine.facts.catalogue import Catalogue
from qa_engine.proof.boundaries import comparisons
from qa_engine.proof.mutants import Original, Place
from qa_engine.register import Register
from qa_engine.rulesets import Edition, Rule
from qa_engine.yaml_tree import Problem

SHOWN_IN_MG_L = (
    "inlet_tds",
    "outlet_tds",
    "inlet_as_tds",
    "outlet_as_tds",
    "outlet_tds_before",
    "outlet_tds_after",
    "last_outlet_tds",
)
"""Facts that are what a meter showed as TDS."""

SHOWN_IN_US_CM = ("inlet_conductivity", "outlet_conductivity", "shown_before", "shown_after")
"""Facts that are what a meter showed as conductivity."""


@dataclass(frozen=True)
class _Display:
    """The steps in which a meter of the register shows numbers, None where that is not known."""

    meter: str
    tds_mg_l: float
    conductivity_us_cm: float | None

    def step(self, fact: str) -> float | None:
        """Return the step in which it shows a fact."""
        return self.tds_mg_l if fact in SHOWN_IN_MG_L else self.conductivity_us_cm


def too_fine(
    editions: Sequence[Edition], catalogue: Catalogue, register: Register
) -> Iterator[Problem]:
    """Yield a problem for every limit that lies between two steps of a meter's display.

    A meter that shows whole mg/L never shows 19.5; whether a limit of 19.5 is met is then decided
    by how the display rounds. The coarsest meter that stands in the register is named.
    """
    displays = _displays(register)
    for edition in editions:
        for rule in edition.rules:
            original = Original(rule, catalogue.facts_of(rule.subject), edition.document)
            for fact, limit in _measured_against(rule):
                yield from _of_limit(original, fact, limit, displays)


def _displays(register: Register) -> list[_Display]:
    found = {}
    for row in register.table("meters").iter_rows(named=True):
        if row["resolution"]:
            factor = row["factor"]
            conductivity = row["resolution"] / factor if factor else None
            found[row["meter"]] = _Display(row["meter"], row["resolution"], conductivity)
    return list(found.values())


def _measured_against(rule: Rule) -> Iterator[tuple[str, str]]:
    """Yield each fact off a display with each limit that it is compared with directly."""
    for condition in rule.conditions:
        for compared in comparisons(condition.verdict):
            shown = isinstance(compared.left, Measured) and compared.left.name
            if shown in (*SHOWN_IN_MG_L, *SHOWN_IN_US_CM) and isinstance(
                compared.right, Constant | Chosen
            ):
                for name in condition.limit_names:
                    if _is(compared.right, rule, name):
                        yield str(shown), name


def _is(fixed: Constant | Chosen, rule: Rule, name: str) -> bool:
    """Tell whether a number of a condition is a limit of the rule, in whatever unit."""
    limit = rule.limits[name]
    if isinstance(fixed, Chosen):
        return limit.by == fixed.by
    return limit.by is None and limit.unit.measures_same_as(fixed.unit or limit.unit)


def _of_limit(
    original: Original, fact: str, name: str, displays: Sequence[_Display]
) -> Iterator[Problem]:
    of = original.facts[fact].unit or "1"
    for quantity in original.quantities:
        steps = [(one.step(fact), one) for one in displays]
        coarse = [(step, one) for step, one in steps if step and quantity.misses(step, of)]
        if quantity.limit.name == name and coarse:
            step, display = max(coarse, key=lambda one: one[0])
            what = f"the limit '{name}', {quantity.written}, is finer than meter {display.meter}"
            what += f", which shows '{fact}' in steps of {step:g} {of}"
            help = "a reading on that meter cannot tell which side it is on; take a step it shows"
            yield Place(quantity.path).problem(original.document, what, help)
