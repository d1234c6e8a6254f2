"""Asks a model in trials: what it raises, and answers of a wrong kind, are breaches by themselves.

Whichever law asks, the breach counts as one of the law that speaks of it, so that one fault is
told once.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qa_engine.depletion import Floats, ResinModel, Water
from qa_engine.plugin_wall import Wall
from qa_engine.testing.law import BrokenLawError
from qa_engine.testing.questions import WATER, Question, column, water_of

Known = NDArray[np.bool_]

ANSWERS = "answers-whatever-may-be-logged"
SHAPES = "shapes-broadcast"
KNOWN = "what-is-known-gives-a-number"


OTHERS = ("used_fraction", "flow_bv_h", "transfer_units")
"""What an outlet depends on besides the water."""

AT_ITS_ENDS = "answer for every number that records can hold; beyond the validity, as at its end"
ALL_ARGUMENTS = "use numpy arithmetic on all arguments, and add zeros of those that do not matter"
WHAT_IS_SHOWN = (
    "use qa_engine.depletion.shown_conductivity_us_cm or shown_tds_mg_l, which take what is known, "
    "and treat what no analysis tells as absent"
)


@dataclass(frozen=True)
class Asked:
    """A model under trial, and the questions that are put to it."""

    model: ResinModel
    questions: Sequence[Question]

    def load(self) -> Floats:
        """Return the load of each question's water, shape (questions,)."""
        return self.load_of(water_of(self.questions))

    def load_of(self, water: Water) -> Floats:
        """Return the loads of waters of any shape."""
        known = _known(water)
        return self._answer("load_eq_l", known, lambda: self.model.load_eq_l(water))

    def outlet(self, *, own_sharpness: bool = False) -> Floats:
        """Return the outlet that each question asks for, shape (questions,)."""
        used, flow, units = (column(self.questions, name) for name in OTHERS)
        given = None if own_sharpness else units
        return self.outlet_of(used, water_of(self.questions), flow, given)

    def outlet_of(
        self, used: Floats, water: Water, flow: Floats, units: Floats | None = None
    ) -> Floats:
        """Return outlets of any shapes that broadcast against each other."""
        sharp = np.zeros(()) if units is None else units
        known = _known(water) & np.isfinite(used + sharp)
        known = np.broadcast_to(known, np.broadcast_shapes(known.shape, flow.shape))
        more = () if units is None else (units,)
        return self._answer(
            "outlet_mg_l", known, lambda: self.model.outlet_mg_l(used, water, flow, *more)
        )

    def told(self, row: int = 0, *more: str) -> str:
        """Return one of the questions in words."""
        return self.questions[row].told(*more)

    def _all_told(self) -> str:
        others = len(self.questions) - 1
        more = f"; and {others} more at once" if others else ""
        return self.told(0, *OTHERS) + more

    def _answer(self, what: str, known: Known, call: Callable[[], Floats]) -> Floats:
        wall = Wall()
        answer: Floats = wall.ask("model", what, lambda: np.asarray(call(), dtype=np.float64))
        shown = self._all_told()
        if wall.failures:
            raised = wall.failures["model"].removeprefix(f"{what}: ")
            raise BrokenLawError(ANSWERS, f"{what} raised {raised}", shown, AT_ITS_ENDS)
        if answer.shape != known.shape:
            wrong = (
                f"{what} returned shape {answer.shape}; its arguments broadcast to {known.shape}"
            )
            raise BrokenLawError(SHAPES, wrong, shown, ALL_ARGUMENTS)
        missing = np.argwhere(known & ~np.isfinite(answer))
        if missing.size:
            row = int(missing[0][-1]) if known.shape == (len(self.questions),) else 0
            wrong = f"{what} is {answer[tuple(missing[0])]} where TDS or conductivity is known"
            raise BrokenLawError(KNOWN, wrong, self.told(row, *OTHERS), WHAT_IS_SHOWN)
        return answer


def _known(water: Water) -> Known:
    """Tell of which waters something is known that every model must make do with."""
    return np.isfinite(water.tds_mg_l) | np.isfinite(water.conductivity_us_cm)


def frozen_copy(water: Water) -> tuple[bytes, ...]:
    """Return the contents of waters, to be compared later."""
    return tuple(getattr(water, name).tobytes() for name in WATER)
