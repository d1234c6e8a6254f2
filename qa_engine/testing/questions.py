"""What models are asked in trials: waters, how far a bed is used, flows, and how sharp it is."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import cast

import numpy as np
from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from qa_engine.depletion import Floats, Water
from qa_engine.fields import Quantity, RecordField
from qa_engine.records import RECORD_FIELDS
from qa_engine.register import TABLES
from qa_engine.units import CACO3_G_PER_EQ
from qa_engine.water import TAP_WATER_CONDUCTANCE

UNKNOWN = float("nan")
WATER = tuple(field.name for field in fields(Water))
TOLD = {
    "tds_mg_l": "TDS {:.6g} mg/L",
    "conductivity_us_cm": "conductivity {:.6g} uS/cm",
    "factor": "factor {:.6g}",
    "hardness_mg_l": "hardness {:.6g} mg/L as CaCO3",
    "alkalinity_mg_l": "alkalinity {:.6g} mg/L as CaCO3",
    "ph": "pH {:.6g}",
    "silica_mg_l": "silica {:.6g} mg/L",
    "used_fraction": "used fraction {:.6g}",
    "flow_bv_h": "flow {:.6g} BV/h",
    "transfer_units": "{:.6g} transfer units",
}


@dataclass(frozen=True)
class Question:
    """One water, and what else an outlet depends on; units as in ``Water``, NaN is unknown."""

    tds_mg_l: float = UNKNOWN
    conductivity_us_cm: float = UNKNOWN
    factor: float = UNKNOWN
    hardness_mg_l: float = UNKNOWN
    alkalinity_mg_l: float = UNKNOWN
    ph: float = UNKNOWN
    silica_mg_l: float = UNKNOWN
    used_fraction: float = 0.0
    flow_bv_h: float = UNKNOWN
    transfer_units: float = 20.0

    def told(self, *more: str) -> str:
        """Return what is known of the water, and of what is named besides, in words."""
        water = self._known(WATER)
        told = f"inlet water of {', '.join(water)}" if water else "water of which nothing is known"
        return ", ".join([told, *self._known(more)])

    def _known(self, names: Iterable[str]) -> list[str]:
        known = {name: getattr(self, name) for name in names}
        return [TOLD[name].format(v) for name, v in known.items() if not np.isnan(v)]

    def stronger(self, times: float) -> "Question":
        """Return the same water with everything dissolved in it so many times as strong."""
        dissolved = [name for name in WATER if name not in ("factor", "ph")]
        return replace(self, **{name: getattr(self, name) * times for name in dissolved})


def column(questions: Sequence[Question], name: str) -> Floats:
    """Return one quantity of all questions, shape (questions,)."""
    return np.array([getattr(one, name) for one in questions], dtype=np.float64)


def water_of(questions: Sequence[Question]) -> Water:
    """Return the waters of the questions, shape (questions,)."""
    return Water(**{name: column(questions, name) for name in WATER})


def reshaped(water: Water, *shape: int) -> Water:
    """Return waters in another shape."""
    return Water(*(getattr(water, name).reshape(shape) for name in WATER))


USED = st.sampled_from((0.0, 0.25, 0.5, 0.8, 1.0, 1.5)) | st.floats(0, 2, width=32)
FLOW = st.sampled_from((UNKNOWN, 20.0)) | st.floats(5, 60, width=16)
UNITS = st.floats(2, 100, width=16)


@st.composite
def ordinary_questions(draw: st.DrawFn) -> Question:
    """Draw a tap water whose figures agree with each other, told in one way or another."""
    conductivity = float(draw(st.integers(20, 2500)))
    factor = draw(st.sampled_from((0.5, 0.47, 0.64, 0.7)))
    shown = draw(st.sampled_from(("TDS", "conductivity", "both")))
    question = Question(
        tds_mg_l=UNKNOWN if shown == "conductivity" else factor * conductivity,
        conductivity_us_cm=UNKNOWN if shown == "TDS" else conductivity,
        factor=factor,
        used_fraction=draw(USED),
        flow_bv_h=draw(FLOW),
        transfer_units=draw(UNITS),
    )
    if not draw(st.booleans()):
        return question
    caco3_mg_l = conductivity / TAP_WATER_CONDUCTANCE * CACO3_G_PER_EQ
    return replace(
        question,
        hardness_mg_l=caco3_mg_l * draw(st.sampled_from((0.9, 0.5, 0.2))),
        alkalinity_mg_l=caco3_mg_l * draw(st.sampled_from((0.5, 0.2, 0.8))),
        ph=draw(st.sampled_from((7.5, 6.5, 8.5))),
        silica_mg_l=draw(st.sampled_from((0.0, 10.0, 25.0))),
    )


def _logged(field: RecordField) -> SearchStrategy[float]:
    """Draw what a field of a record or of the register takes, its ends often, or nothing."""
    number = cast(Quantity, field)
    ends = st.sampled_from((UNKNOWN, number.low, number.high))
    return ends | st.floats(number.low, number.high, width=32)


WILD = st.builds(
    Question,
    tds_mg_l=_logged(RECORD_FIELDS["inlet_tds"]),
    conductivity_us_cm=_logged(RECORD_FIELDS["conductivity"]),
    factor=_logged(TABLES["meters"].fields["factor"]),
    hardness_mg_l=_logged(RECORD_FIELDS["hardness"]),
    alkalinity_mg_l=_logged(RECORD_FIELDS["alkalinity"]),
    ph=_logged(RECORD_FIELDS["ph"]),
    silica_mg_l=_logged(RECORD_FIELDS["silica"]),
    used_fraction=st.sampled_from((0.0, 1.0, 50.0)) | st.floats(0, 5, width=32),
    flow_bv_h=st.sampled_from((UNKNOWN, 0.0, 1e4)) | st.floats(0, 200, width=32),
    transfer_units=st.sampled_from((0.125, 1.0, 1e3)) | st.floats(0.125, 500, width=32),
)
"""Whatever the intake lets through, however odd: the engine will ask it of a model."""

ORDINARY = ordinary_questions()
"""Tap waters whose figures agree with each other, on a bed within the usual."""


def several(questions: SearchStrategy[Question], least: int = 1) -> SearchStrategy[list[Question]]:
    """Draw a few questions that are asked at once."""
    return st.lists(questions, min_size=least, max_size=4)
