"""Laws on the outlet: from a trace when fresh to the inlet when spent, and never back."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from qa_engine.depletion import Floats, ResinModel, factor_of, shown_tds_mg_l
from qa_engine.testing.answers import Asked
from qa_engine.testing.law import BrokenLawError, Law, for_all
from qa_engine.testing.questions import ORDINARY, WILD, Question, water_of
from qa_engine.water import PURE_WATER_US_CM

NEVER_FALLS = "outlet-never-falls-with-use"
PURE_WATER = "outlet-not-below-pure-water"
INLET = "outlet-not-above-inlet"
FRESH = "fresh-bed-holds"
SPENT = "spent-bed-lets-through"
SHARPNESS = "sharpness-counts"
OWN_SHARPNESS = "no-sharpness-means-that-of-the-grade"
USUAL_FLOW = "unknown-flow-means-the-usual"

USES = np.linspace(0.0, 3.0, 61)
EARLY = USES <= 0.6
SLACK = 1e-9

FRESH_SHARE = 0.1
"""What a fresh bed may let through of strong water where its limit is less: sodium of a two-bed."""

SPENT_SHARE = 0.5
MOST_ACID = 4.0
"""How much more than the salt it came from an acid conducts: at most (350 + 76)/109."""

BLUNT, SHARP = 5.0, 80.0


def _over_use(model: ResinModel, question: Question, units: float | None = None) -> Floats:
    """Return the outlet of one water over the whole life of a bed."""
    asked = Asked(model, [question])
    flow = np.array([question.flow_bv_h])
    given = None if units is None else np.array(units)
    return asked.outlet_of(USES[:, np.newaxis], water_of([question]), flow, given)[:, 0]


def _never_falls(model: ResinModel) -> None:
    def holds(question: Question) -> None:
        outlet = _over_use(model, question, question.transfer_units)
        falls = np.diff(outlet) < -SLACK * outlet[:-1]
        if falls.any():
            at = int(np.argmax(falls))
            raise BrokenLawError(
                NEVER_FALLS,
                f"the outlet falls from {outlet[at]:.6g} mg/L at a used fraction of "
                f"{USES[at]:.4g} to {outlet[at + 1]:.6g} at {USES[at + 1]:.4g}",
                question.told("flow_bv_h", "transfer_units"),
                "use a breakthrough curve that only rises, such as those of "
                "qa_engine.breakthrough; np.maximum.accumulate over the use is no way out",
            )

    for_all(ORDINARY | WILD, holds)


def _pure_water(model: ResinModel) -> None:
    def holds(question: Question, purest_us_cm: float) -> None:
        outlet = _over_use(model, question, question.transfer_units)
        purest = float(purest_us_cm * factor_of(water_of([question]))[0])
        if (below := outlet < purest).any():
            at = int(np.argmax(below))
            raise BrokenLawError(
                PURE_WATER,
                f"the outlet reads {outlet[at]:.4g} mg/L at a used fraction of {USES[at]:.4g}, and "
                f"pure water {purest:.4g}",
                question.told("flow_bv_h", "transfer_units"),
                "lay a floor under it with np.maximum, of what a fresh bed lets through",
            )

    for_all(WILD, lambda question: holds(question, 0.0))
    for_all(ORDINARY, lambda question: holds(question, PURE_WATER_US_CM))


def _not_above_inlet(model: ResinModel) -> None:
    times = 1.0 if model.grade.lowers_tds else MOST_ACID

    def holds(question: Question) -> None:
        outlet, inlet = _over_use(model, question, question.transfer_units), _inlet(question)
        if (above := outlet > times * inlet * (1.0 + SLACK)).any():
            at = int(np.argmax(above))
            raise BrokenLawError(
                INLET,
                f"the outlet reads {outlet[at]:.6g} mg/L at a used fraction of {USES[at]:.4g}, and "
                f"the inlet {inlet:.6g}",
                question.told("flow_bv_h", "transfer_units"),
                "hold it to the inlet with np.minimum: what never falls and ends at the inlet is "
                "never above it",
            )

    for_all(ORDINARY, holds)


def _fresh(model: ResinModel) -> None:
    limit = model.grade.outlet_after_change_mg_l

    def holds(question: Question) -> None:
        outlet, inlet = float(_over_use(model, question)[0]), _inlet(question)
        if outlet > max(limit, FRESH_SHARE * inlet):
            raise BrokenLawError(
                FRESH,
                f"a fresh bed lets through {outlet:.6g} of {inlet:.6g} mg/L; its grade says "
                f"{limit:g} at most after a change",
                question.told("flow_bv_h"),
                "begin the curve near zero at a used fraction of 0 (1 is spent; not percent, and "
                "not what is left)",
            )

    _for_all_that_lower_tds(model, holds)


def _spent(model: ResinModel) -> None:
    def holds(question: Question) -> None:
        outlet, inlet = float(_over_use(model, question)[-1]), _inlet(question)
        if outlet < SPENT_SHARE * inlet:
            raise BrokenLawError(
                SPENT,
                f"a bed fed three times its capacity lets through {outlet:.6g} of {inlet:.6g} mg/L",
                question.told("flow_bv_h"),
                "return mg/L on the meter's scale, which come up to the inlet's; a fraction of it "
                "has to be multiplied by shown_tds_mg_l(water)",
            )

    _for_all_that_lower_tds(model, holds)


def _sharpness(model: ResinModel) -> None:
    def holds(question: Question) -> None:
        blunt, sharp = (_over_use(model, question, units) for units in (BLUNT, SHARP))
        early = sharp > blunt * (1.0 + SLACK)
        if (early & EARLY).any() or np.array_equal(blunt, sharp):
            raise BrokenLawError(
                SHARPNESS,
                f"a bed of {SHARP:g} transfer units does not hold better at first than one of "
                f"{BLUNT:g}",
                question.told("flow_bv_h"),
                "use transfer_units as the sharpness of the curve: the engine learns it from "
                "readings",
            )

    _for_all_that_lower_tds(model, holds)


def _own_sharpness(model: ResinModel) -> None:
    def holds(question: Question) -> None:
        units = model.grade.sharpness.transfer_units
        asked = Asked(model, [replace(question, transfer_units=units)])
        given, own = float(asked.outlet()[0]), float(asked.outlet(own_sharpness=True)[0])
        if not np.isclose(given, own, rtol=SLACK, atol=0.0):
            raise BrokenLawError(
                OWN_SHARPNESS,
                f"the outlet is {own:.6g} mg/L without transfer units and {given:.6g} with those "
                "of the grade",
                asked.told(0, "used_fraction", "flow_bv_h", "transfer_units"),
                "take grade.sharpness.transfer_units where transfer_units is None, as "
                "qa_engine.depletion.units_at_flow does",
            )

    for_all(ORDINARY, holds)


def _usual_flow(model: ResinModel) -> None:
    def holds(question: Question) -> None:
        flows = (np.nan, model.grade.usual_flow_bv_h)
        asked = Asked(model, [replace(question, flow_bv_h=flow) for flow in flows])
        unknown, usual = asked.outlet()
        if not np.isclose(unknown, usual, rtol=SLACK, atol=0.0):
            raise BrokenLawError(
                USUAL_FLOW,
                f"the outlet is {unknown:.6g} mg/L where the flow is unknown and {usual:.6g} at "
                "the usual flow of the grade",
                asked.told(1, "used_fraction", "flow_bv_h"),
                "take grade.usual_flow_bv_h where the flow is NaN",
            )

    for_all(ORDINARY, holds)


def _inlet(question: Question) -> float:
    return float(shown_tds_mg_l(water_of([question]))[0])


def _for_all_that_lower_tds(model: ResinModel, holds: Callable[[Question], None]) -> None:
    if model.grade.lowers_tds:
        for_all(ORDINARY, holds)


OUTLET_LAWS = (
    Law(NEVER_FALLS, "The outlet never falls as the resin is used.", _never_falls),
    Law(PURE_WATER, "No meter reads less than pure water.", _pure_water),
    Law(INLET, "A bed that lowers TDS never gives more than it gets.", _not_above_inlet),
    Law(FRESH, "A fresh bed that lowers TDS holds nearly everything.", _fresh),
    Law(SPENT, "A spent bed lets the inlet through.", _spent),
    Law(SHARPNESS, "A sharper bed leaks less at first.", _sharpness),
    Law(OWN_SHARPNESS, "Without a sharpness, that of the grade counts.", _own_sharpness),
    Law(USUAL_FLOW, "Where the flow is unknown, the usual one counts.", _usual_flow),
)
