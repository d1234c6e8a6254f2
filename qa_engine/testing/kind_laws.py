"""Laws on the kind of a model's answers: always a number, in the shape of the question."""

import numpy as np
from hypothesis import strategies as st

from qa_engine.depletion import ResinModel, Water
from qa_engine.testing.answers import ANSWERS, KNOWN, SHAPES, Asked
from qa_engine.testing.law import BrokenLawError, Law, for_all
from qa_engine.testing.questions import ORDINARY, WILD, Question, several, water_of

UNKNOWN_STAYS = "unknown-stays-unknown"


def _answers(model: ResinModel) -> None:
    def holds(questions: list[Question]) -> None:
        asked = Asked(model, questions)
        asked.load()
        asked.outlet()
        asked.outlet(own_sharpness=True)

    for_all(several(WILD), holds)


def _known_gives_a_number(model: ResinModel) -> None:
    def holds(question: Question) -> None:
        asked = Asked(model, [question])
        asked.load()
        asked.outlet()

    for_all(ORDINARY, holds)


def _shapes(model: ResinModel) -> None:
    question = Question(tds_mg_l=150.0, factor=0.5)
    asked = Asked(model, [question])
    for shape in ((), (0,), (3,), (2, 1, 1)):
        asked.load_of(_filled(question, shape))
    for waters, used, flow, units in (
        ((), (), (), None),
        ((0,), (0,), (0,), None),
        ((3,), (3,), (3,), (3,)),
        ((2, 1), (3,), (), None),
        ((2,), (2,), (4, 1), (5, 1, 1)),
    ):
        asked.outlet_of(
            np.full(used, 0.5),
            _filled(question, waters),
            np.full(flow, np.nan),
            None if units is None else np.full(units, 20.0),
        )


def _filled(question: Question, shape: tuple[int, ...]) -> Water:
    water = water_of([question])
    return Water(*(np.full(shape, part[0]) for part in vars(water).values()))


def _unknown_stays(model: ResinModel) -> None:
    def holds(used_fraction: float) -> None:
        asked = Asked(model, [Question(used_fraction=used_fraction)])
        for what, answer in (("load_eq_l", asked.load()), ("outlet_mg_l", asked.outlet())):
            if np.isfinite(answer[0]):
                raise BrokenLawError(
                    UNKNOWN_STAYS,
                    f"{what} is {answer[0]:.6g} though nothing is known of the water",
                    asked.told(0, "used_fraction"),
                    "let NaN pass: a number made up would be taken for evidence",
                )

    for_all(st.sampled_from((0.5, 0.0, 1.0)), holds)


KIND_LAWS = (
    Law(SHAPES, "Arguments broadcast against each other, and so does the answer.", _shapes),
    Law(ANSWERS, "Whatever the intake lets through is answered without an error.", _answers),
    Law(KNOWN, "TDS or conductivity alone is enough for a number.", _known_gives_a_number),
    Law(UNKNOWN_STAYS, "Of a water of which nothing is known nothing is said.", _unknown_stays),
)
