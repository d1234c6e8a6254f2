"""Laws on the load: equivalents per litre, above zero, more of them in stronger water."""

from dataclasses import replace

import numpy as np

from qa_engine.depletion import ResinModel
from qa_engine.testing.answers import Asked
from qa_engine.testing.law import BrokenLawError, Law, for_all
from qa_engine.testing.questions import ORDINARY, WILD, Question
from qa_engine.units import CACO3_G_PER_EQ
from qa_engine.water import TAP_WATER_CONDUCTANCE

ABOVE_ZERO = "load-above-zero"
IN_EQUIVALENTS = "load-in-equivalents-per-litre"
GROWS = "load-grows-with-salt"
TOLD_OTHERWISE = "same-water-told-otherwise"

LEAST_SHARE, MOST_SHARE = 0.05, 10.0
"""The load over the ions that the conductivity tells of, for waters told by plain figures.

Soft water on a softener spends a small share of its ions. Acid conducts some fourfold for its
equivalents, and carbonic acid and silica do not conduct: less than tenfold in tap water.
"""

LEAST_GROWTH = 1.3
"""Twice the salt is about twice the load; floors and silica may take something off."""

MISTAKEN = {
    "meq/L": 1000.0,
    "mg/L as CaCO3": 1000.0 * CACO3_G_PER_EQ,
    "g/L as CaCO3": CACO3_G_PER_EQ,
    "eq/mL": 1e-3,
}
"""Units that a load may have been left in, and how many of them make one eq/L."""

LIKE = 3.0
SAME = 1e-6


def _above_zero(model: ResinModel) -> None:
    def holds(question: Question) -> None:
        asked = Asked(model, [question])
        load = asked.load()[0]
        if load <= 0:
            raise BrokenLawError(
                ABOVE_ZERO,
                f"the load is {load:.6g} eq/L, and the resin would never be spent",
                asked.told(),
                "give the least that can be told from nothing where a reading is zero",
            )

    for_all(ORDINARY | WILD, holds)


def _in_equivalents(model: ResinModel) -> None:
    def holds(question: Question) -> None:
        asked = Asked(model, [question])
        load, ions = asked.load()[0], ions_eq_l(question)
        if load > 0 and not LEAST_SHARE <= load / ions <= MOST_SHARE:
            raise BrokenLawError(
                IN_EQUIVALENTS,
                f"the load is {load:.4g} eq/L where the ions of the water are about {ions:.4g} "
                f"eq/L{_looks_like(load / ions)}",
                asked.told(),
                "return equivalents per litre; qa_engine.units.conversion has the factors",
            )

    for_all(ORDINARY, holds)


def ions_eq_l(question: Question) -> float:
    """Return roughly the ions of an ordinary water [eq/L]."""
    told = question.conductivity_us_cm
    conductivity = question.tds_mg_l / question.factor if np.isnan(told) else told
    return conductivity / TAP_WATER_CONDUCTANCE / 1000.0


def _looks_like(ratio: float) -> str:
    for unit, factor in MISTAKEN.items():
        if factor / LIKE < ratio < factor * LIKE:
            return f", as if left in {unit}"
    return ""


def _grows(model: ResinModel) -> None:
    def holds(question: Question) -> None:
        twice = Asked(model, [question, question.stronger(2.0)])
        load, more = twice.load()
        if load > 0 and not more >= LEAST_GROWTH * load:
            raise BrokenLawError(
                GROWS,
                f"twice the salt gives a load of {more:.4g} eq/L, and once gives {load:.4g}",
                twice.told(),
                "let the load follow TDS or conductivity, and the analysis where there is one",
            )

    for_all(ORDINARY, holds)


def _told_otherwise(model: ResinModel) -> None:
    def holds(question: Question) -> None:
        conductivity = ions_eq_l(question) * TAP_WATER_CONDUCTANCE * 1000.0
        tds = conductivity * question.factor
        ways = [
            replace(question, tds_mg_l=tds, conductivity_us_cm=np.nan),
            replace(question, tds_mg_l=np.nan, conductivity_us_cm=conductivity),
            replace(question, tds_mg_l=tds, conductivity_us_cm=conductivity),
        ]
        asked = Asked(model, ways)
        for what, answer in (("load_eq_l", asked.load()), ("outlet_mg_l", asked.outlet())):
            if not np.allclose(answer, answer[0], rtol=SAME, atol=0.0):
                raise BrokenLawError(
                    TOLD_OTHERWISE,
                    f"{what} is {answer[0]:.6g} for a water told by its TDS, {answer[1]:.6g} by "
                    f"its conductivity and {answer[2]:.6g} by both",
                    asked.told(2, "used_fraction"),
                    "use qa_engine.depletion.shown_conductivity_us_cm and shown_tds_mg_l",
                )

    for_all(ORDINARY, holds)


LOAD_LAWS = (
    Law(ABOVE_ZERO, "Every water spends something.", _above_zero),
    Law(IN_EQUIVALENTS, "A litre spends about as much as it has ions.", _in_equivalents),
    Law(GROWS, "Stronger water spends more.", _grows),
    Law(TOLD_OTHERWISE, "TDS and conductivity of one water tell the same.", _told_otherwise),
)
