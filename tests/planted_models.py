"""A right model of an invented grade, and wrong ones that each differ from it by one fault.

``PLANTED`` says for each fault by which law the kit has to catch it.
"""

import math
import random
import time
from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np

from qa_engine.breakthrough import film_breakthrough
from qa_engine.depletion import (
    Capacity,
    Grade,
    Sharpness,
    factor_of,
    shown_conductivity_us_cm,
    shown_tds_mg_l,
    units_at_flow,
)
from qa_engine.units import conversion
from qa_engine.water import load_eq_l

GRADE = Grade(
    name="planted grey",
    bed="mixed bed",
    capacity=Capacity(0.5, 0.08, "data sheet of an invented resin"),
    lowers_tds=True,
    outlet_after_change_mg_l=1.0,
    least_flow_bv_h=8.0,
    greatest_flow_bv_h=40.0,
    flow_source="data sheet of an invented resin",
    sharpness=Sharpness(20.0, 0.3, "data sheet of an invented resin"),
    density_kg_l=0.72,
    ph_low=0.0,
    ph_high=14.0,
    greatest_temperature_deg_c=40.0,
    validity="Invented fresh water.",
)


class Right:
    """A model without a fault."""

    grade = GRADE

    def load_eq_l(self, water):
        return load_eq_l(shown_conductivity_us_cm(water))

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        units = units_at_flow(self.grade, flow_bv_h, transfer_units)
        return self.read(water, film_breakthrough(used_fraction, units))

    def read(self, water, share):
        """Return a share of the inlet as the meter shows it, above a floor of 0.5 uS/cm."""
        inlet = shown_tds_mg_l(water)
        return np.minimum(inlet, np.maximum(inlet * share, 0.5 * factor_of(water)))


class LooksAhead(Right):
    """Takes for each water the strongest that is still to come."""

    def load_eq_l(self, water):
        load = super().load_eq_l(water)
        if load.ndim != 1:
            return load
        return np.maximum.accumulate(load[::-1])[::-1]


class LooksAheadAtTheOutlet(Right):
    """Knows from later uses how far the bed will be spent."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        outlet = super().outlet_mg_l(used_fraction, water, flow_bv_h, transfer_units)
        return np.minimum.accumulate(outlet[::-1])[::-1] if outlet.ndim == 1 else outlet


class SumsUp(Right):
    """Adds up the loads so far, which is the engine's affair."""

    def load_eq_l(self, water):
        load = super().load_eq_l(water)
        return np.maximum.accumulate(load) if load.ndim == 1 else load


class FollowsTheCrowd(Right):
    """Answers for many waters in single precision, for one in double."""

    def load_eq_l(self, water):
        load = super().load_eq_l(water)
        return load.astype(np.float32) if load.size > 1 else load


class Milliequivalents(Right):
    """Loads in meq/L."""

    def load_eq_l(self, water):
        return 1000.0 * super().load_eq_l(water)


class AsCalciumCarbonate(Right):
    """Loads in g/L as CaCO3."""

    def load_eq_l(self, water):
        return super().load_eq_l(water) * 50.04345


class NotANumber(Right):
    """Has no load without an analysis of alkalinity."""

    def load_eq_l(self, water):
        return super().load_eq_l(water) + 0.0 * water.alkalinity_mg_l


class InfiniteOutlet(Right):
    """Divides by what is left of the bed."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        outlet = super().outlet_mg_l(used_fraction, water, flow_bv_h, transfer_units)
        return np.where(used_fraction == 1.0, np.inf, outlet)


class NegativeLoad(Right):
    """Counts what the resin gives off."""

    def load_eq_l(self, water):
        return -super().load_eq_l(water)


class NoLoadOfPureWater(Right):
    """Spends nothing where the meter shows zero."""

    def load_eq_l(self, water):
        return np.where(shown_conductivity_us_cm(water) == 0.0, 0.0, super().load_eq_l(water))


class SameLoadForAll(Right):
    """Takes every water for one of 2 meq/L."""

    def load_eq_l(self, water):
        known = shown_conductivity_us_cm(water)
        return 0.002 + 0.0 * known


class KnowsTheUnknown(Right):
    """Makes up a load where nothing is known."""

    def load_eq_l(self, water):
        return np.nan_to_num(super().load_eq_l(water), nan=0.002)


class ReadsTdsAlone(Right):
    """Takes the TDS of a meter of any factor for one of 0.5."""

    def load_eq_l(self, water):
        us_cm = np.where(np.isnan(water.tds_mg_l), water.conductivity_us_cm, water.tds_mg_l / 0.5)
        return load_eq_l(us_cm)


class DipsAtTheEnd(Right):
    """Falls back a little when the bed is spent."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        outlet = super().outlet_mg_l(used_fraction, water, flow_bv_h, transfer_units)
        return np.where(used_fraction > 1.5, 0.95 * outlet, outlet)


class PurerThanWater(Right):
    """Has no floor."""

    def read(self, water, share):
        return shown_tds_mg_l(water) * share


class BelowZero(Right):
    """Takes the floor off the reading."""

    def read(self, water, share):
        return super().read(water, share) - 0.4 * factor_of(water) - 0.3


class AboveTheInlet(Right):
    """Reads leaking acid threefold, even when salt comes with it."""

    def read(self, water, share):
        return np.maximum(3.0 * shown_tds_mg_l(water) * share, 0.5 * factor_of(water))


class Percent(Right):
    """Takes the used fraction in percent."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        return super().outlet_mg_l(used_fraction / 100.0, water, flow_bv_h, transfer_units)


class FractionOfTheInlet(Right):
    """Returns a share where a reading is asked for."""

    def read(self, water, share):
        return np.maximum(share, 0.5) + 0.0 * shown_tds_mg_l(water)


class WhatIsLeft(Right):
    """Leaks from the start, as if the used fraction were counted from a half on."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        return super().outlet_mg_l(used_fraction + 1.0, water, flow_bv_h, transfer_units)


class OneSharpness(Right):
    """Does not care how sharp the bed is."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        outlet = super().outlet_mg_l(used_fraction, water, flow_bv_h)
        return outlet + np.zeros(np.shape(transfer_units))


class SharpnessOfAnother(Right):
    """Takes a sharpness of its own where none is given."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        units = 8.0 if transfer_units is None else transfer_units
        return super().outlet_mg_l(used_fraction, water, flow_bv_h, units)


class StandsStill(Right):
    """Takes the slowest flow where none is known."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        flow = np.nan_to_num(flow_bv_h, nan=8.0)
        return super().outlet_mg_l(used_fraction, water, flow, transfer_units)


class Refuses(Right):
    """Raises beyond the pH that it was made for."""

    def load_eq_l(self, water):
        if np.any((water.ph < 4.0) | (water.ph > 10.0)):
            raise ValueError("pH beyond 4 to 10")
        return super().load_eq_l(water)


class OneShape(Right):
    """Answers in the shape of the water, whatever else is asked."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        return shown_tds_mg_l(water)


class WritesOver(Right):
    """Fills in unknown flows in the array that it was given."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        if np.ndim(flow_bv_h):
            flow_bv_h[np.isnan(flow_bv_h)] = self.grade.usual_flow_bv_h
        return super().outlet_mg_l(used_fraction, water, flow_bv_h, transfer_units)


class WritesOverWater(Right):
    """Rounds the water in the array that it was given."""

    def load_eq_l(self, water):
        np.round(water.tds_mg_l, -1, out=water.tds_mg_l)
        return super().load_eq_l(water)


class AgesByTheClock(Right):
    """Loses capacity with the years."""

    def load_eq_l(self, water):
        year = datetime.now(UTC).year  # noqa: TID251 - the fault
        return super().load_eq_l(water) * (1.0 + 0.01 * (year - 2020))


class AgesByTheDay(Right):
    """Asks which day it is."""

    def load_eq_l(self, water):
        return super().load_eq_l(water) * (1.0 + 1e-7 * date.today().day)  # noqa: DTZ011, TID251


class AsksTheTime(Right):
    """Asks the time of day and makes nothing of it."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        nothing = 0.0 * time.time()  # noqa: TID251
        return super().outlet_mg_l(used_fraction, water, flow_bv_h, transfer_units) + nothing


class ReadsAFile(Right):
    """Reads its figures anew for every answer."""

    def load_eq_l(self, water):
        with open(__file__, encoding="utf-8") as sheet:  # noqa: PTH123 - as a stranger might
            return super().load_eq_l(water) + 0.0 * len(sheet.readline())


class RollsDice(Right):
    """Draws its scatter from Python's dice."""

    def load_eq_l(self, water):
        return super().load_eq_l(water) * random.uniform(0.95, 1.0)


class RollsOtherDice(Right):
    """Draws its scatter from numpy's dice."""

    dice = np.random.default_rng()

    def load_eq_l(self, water):
        return super().load_eq_l(water) * self.dice.uniform(0.99, 1.0)


class Remembers(Right):
    """Keeps the strongest water that it ever saw."""

    def __init__(self):
        self.strongest = 0.0

    def load_eq_l(self, water):
        load = super().load_eq_l(water)
        before, self.strongest = self.strongest, float(np.max(np.nan_to_num(load), initial=0.0))
        return load * (1.0 + 0.01 * before)


class GoesOneByOne(Right):
    """Loops in Python over every water."""

    def load_eq_l(self, water):
        shown = shown_conductivity_us_cm(water)
        each = [float(load_eq_l(us_cm)) for us_cm in shown.ravel()]
        return np.array(each).reshape(shown.shape)


class ListsThem(Right):
    """Goes through every reading in a list of figures."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        outlet = super().outlet_mg_l(used_fraction, water, flow_bv_h, transfer_units)
        return np.array([one * 1.0 for one in outlet.ravel().tolist()]).reshape(outlet.shape)


def graded(**changes):
    """Return the right model with another grade."""
    model = Right()
    model.grade = replace(GRADE, **changes)
    return model


def capacity(mean, sd=0.08, source="data sheet of an invented resin"):
    return graded(capacity=Capacity(mean, sd, source))


class NoOutlet:
    """Lacks half of a model."""

    grade = GRADE

    def load_eq_l(self, water):
        return load_eq_l(shown_conductivity_us_cm(water))


KGR_FT3 = conversion("eq/L", "kgr/ft3 as CaCO3").factor
L_PER_FT3 = conversion("ft3", "L").factor

PLANTED = {
    "load looks ahead": (LooksAhead(), "no-look-ahead"),
    "outlet looks ahead": (LooksAheadAtTheOutlet(), "no-look-ahead"),
    "load looks back": (SumsUp(), "any-order-gives-the-same"),
    "load depends on how many are asked": (FollowsTheCrowd(), "many-at-once-as-one-by-one"),
    "load in meq/L": (Milliequivalents(), "load-in-equivalents-per-litre"),
    "load in g/L as CaCO3": (AsCalciumCarbonate(), "load-in-equivalents-per-litre"),
    "load is NaN without an analysis": (NotANumber(), "what-is-known-gives-a-number"),
    "outlet is infinite once spent": (InfiniteOutlet(), "what-is-known-gives-a-number"),
    "load below zero": (NegativeLoad(), "load-above-zero"),
    "no load of water that shows zero": (NoLoadOfPureWater(), "load-above-zero"),
    "load does not grow": (SameLoadForAll(), "load-grows-with-salt"),
    "load of unknown water made up": (KnowsTheUnknown(), "unknown-stays-unknown"),
    "factor of the meter left out": (ReadsTdsAlone(), "same-water-told-otherwise"),
    "leakage falls": (DipsAtTheEnd(), "outlet-never-falls-with-use"),
    "outlet purer than pure water": (PurerThanWater(), "outlet-not-below-pure-water"),
    "outlet below zero": (BelowZero(), "outlet-not-below-pure-water"),
    "outlet above the inlet": (AboveTheInlet(), "outlet-not-above-inlet"),
    "used fraction in percent": (Percent(), "spent-bed-lets-through"),
    "outlet as a fraction": (FractionOfTheInlet(), "spent-bed-lets-through"),
    "fresh bed is spent": (WhatIsLeft(), "fresh-bed-holds"),
    "sharpness left out": (OneSharpness(), "sharpness-counts"),
    "sharpness of another grade": (
        SharpnessOfAnother(),
        "no-sharpness-means-that-of-the-grade",
    ),
    "unknown flow taken as the least": (StandsStill(), "unknown-flow-means-the-usual"),
    "raises on water that may be logged": (Refuses(), "answers-whatever-may-be-logged"),
    "outlet in the shape of the water": (OneShape(), "shapes-broadcast"),
    "writes into the flow": (WritesOver(), "arguments-stay-as-they-were"),
    "writes into the water": (WritesOverWater(), "arguments-stay-as-they-were"),
    "asks the clock": (AgesByTheClock(), "asks-nothing-but-its-arguments"),
    "asks the day": (AgesByTheDay(), "asks-nothing-but-its-arguments"),
    "asks the time": (AsksTheTime(), "asks-nothing-but-its-arguments"),
    "reads a file": (ReadsAFile(), "asks-nothing-but-its-arguments"),
    "rolls dice": (RollsDice(), "asks-nothing-but-its-arguments"),
    "rolls numpy's dice": (RollsOtherDice(), "same-question-same-answer"),
    "remembers": (Remembers(), "same-question-same-answer"),
    "loops over the waters": (GoesOneByOne(), "no-loop-over-waters"),
    "loops in a list": (ListsThem(), "no-loop-over-waters"),
    "no outlet": (NoOutlet(), "model-is-complete"),
    "bed of no known kind": (graded(bed="candle filter"), "model-is-complete"),
    "name with a blank at the end": (graded(name="planted grey "), "model-is-complete"),
    "capacity in meq/L": (capacity(500.0, 80.0), "capacity-in-equivalents-per-litre"),
    "capacity per cubic foot": (
        capacity(0.5 * L_PER_FT3, 2.0),
        "capacity-in-equivalents-per-litre",
    ),
    "capacity in kilograins": (capacity(0.5 * KGR_FT3, 2.0), "capacity-in-equivalents-per-litre"),
    "capacity is NaN": (capacity(math.nan), "capacity-in-equivalents-per-litre"),
    "capacity is certain": (capacity(0.5, 0.0), "capacity-has-a-spread"),
    "capacity has no source": (capacity(0.5, 0.08, " "), "figures-have-a-source"),
    "flow has no source": (graded(flow_source="TODO"), "figures-have-a-source"),
    "validity is not stated": (graded(validity="not stated"), "validity-is-stated"),
    "flow limits turned round": (
        graded(least_flow_bv_h=40.0, greatest_flow_bv_h=8.0),
        "figures-are-those-of-a-resin",
    ),
    "density in g/L": (graded(density_kg_l=720.0), "figures-are-those-of-a-resin"),
    "grade of another plugin": (graded(name="standard mixed bed"), "grade-is-not-taken"),
}
"""What is wrong, the model, and the law that is meant for it."""
