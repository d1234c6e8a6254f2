"""Laws on purity: an answer follows from its own arguments, and from nothing else."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from qa_engine.depletion import Floats, ResinModel
from qa_engine.testing.answers import OTHERS, Asked, frozen_copy
from qa_engine.testing.law import SAME_ANSWER, BrokenLawError, Law, for_all
from qa_engine.testing.questions import ORDINARY, Question, column, several, water_of
from qa_engine.testing.watching import calls_aside, steps_of

ARGUMENTS_KEPT = "arguments-stay-as-they-were"
NOTHING_ELSE = "asks-nothing-but-its-arguments"
NO_LOOK_AHEAD = "no-look-ahead"
ANY_ORDER = "any-order-gives-the-same"
ONE_BY_ONE = "many-at-once-as-one-by-one"
NO_LOOP = "no-loop-over-waters"

ROUNDING = 1e-9
FEW, MANY = 4, 256
MOST_GROWTH = (MANY - FEW) // 2

QUESTION = Question(tds_mg_l=150.0, factor=0.5, used_fraction=0.5, flow_bv_h=20.0)
"""What a model is asked where any question will do."""

ALL = slice(None)
ALONE = (
    "let every element of the answer follow from its own arguments: no sums, means, sorting or "
    "neighbours"
)
NO_MEMORY = "answer from the arguments alone, without chance, clock or memory of earlier calls"

Answers = dict[str, Floats]


def _asks(asked: Asked, rows: slice = ALL) -> Answers:
    """Return some rows of both answers of a model."""
    return {"load_eq_l": asked.load()[rows], "outlet_mg_l": asked.outlet()[rows]}


def _hold_equal(
    before: Answers, now: Answers, law: str, wrong: str, shown_by: Callable[[int], str]
) -> None:
    for what, answer in before.items():
        differs = ~np.isclose(answer, now[what], rtol=ROUNDING, atol=0.0, equal_nan=True)
        if differs.any():
            row = int(np.argmax(differs))
            raise BrokenLawError(
                law,
                f"{what} {wrong}: {answer[row]:.9g}, then {now[what][row]:.9g}",
                shown_by(row),
                NO_MEMORY if law == SAME_ANSWER else ALONE,
            )


def _other(question: Question) -> Question:
    """Return quite another question, by which an answer to the first must not change."""
    return replace(question.stronger(2.0), used_fraction=1.9, flow_bv_h=9.0)


def _same_answer(model: ResinModel) -> None:
    def holds(questions: list[Question]) -> None:
        asked = Asked(model, questions)
        first = _asks(asked)
        _asks(Asked(model, list(map(_other, questions))))
        wrong = "answers the same question differently"
        _hold_equal(first, _asks(asked), SAME_ANSWER, wrong, lambda row: asked.told(row, *OTHERS))

    for_all(several(ORDINARY), holds)


def _arguments_kept(model: ResinModel) -> None:
    def holds(questions: list[Question]) -> None:
        asked, water = Asked(model, questions), water_of(questions)
        used, flow, units = others = tuple(column(questions, name) for name in OTHERS)
        before = (*frozen_copy(water), *(part.tobytes() for part in others))
        asked.load_of(water)
        asked.outlet_of(used, water, flow, units)
        if before != (*frozen_copy(water), *(part.tobytes() for part in others)):
            raise BrokenLawError(
                ARGUMENTS_KEPT,
                "the model wrote into the arrays that it was given",
                asked.told(0, *OTHERS),
                "work on new arrays: no +=, no out=, no assignment to elements of an argument",
            )

    for_all(several(ORDINARY), holds)


def _nothing_else(model: ResinModel) -> None:
    asked = Asked(model, [QUESTION])
    _asks(asked)  # what is imported or cached at the first call is not held against it
    if aside := calls_aside(lambda: _asks(asked)):
        raise BrokenLawError(
            NOTHING_ELSE,
            f"the model asked {', '.join(aside)}",
            asked.told(0, *OTHERS),
            "state what it needs in the grade or in constants; read files, if any, on import",
        )


def _no_look_ahead(model: ResinModel) -> None:
    def holds(questions: list[Question]) -> None:
        asked, before_last = Asked(model, questions), slice(None, -1)
        changed = Asked(model, [*questions[:-1], _other(questions[-1])])
        _hold_equal(
            _asks(asked, before_last),
            _asks(changed, before_last),
            NO_LOOK_AHEAD,
            "of one water changes with a later one",
            lambda row: f"{asked.told(row, *OTHERS)}, when another water comes last",
        )

    for_all(several(ORDINARY, least=2), holds)


def _any_order(model: ResinModel) -> None:
    def holds(questions: list[Question]) -> None:
        asked, turned = Asked(model, questions), Asked(model, questions[::-1])
        _hold_equal(
            _asks(asked),
            _asks(turned, slice(None, None, -1)),
            ANY_ORDER,
            "hangs on the order of the waters",
            lambda row: f"{asked.told(row, *OTHERS)}, one of {len(questions)} put in turned order",
        )

    for_all(several(ORDINARY, least=2), holds)


def _told(asked: Asked, number: int, row: int) -> str:
    return asked.told(number + row, *OTHERS)


def _one_by_one(model: ResinModel) -> None:
    def holds(questions: list[Question]) -> None:
        asked = Asked(model, questions)
        for number, question in enumerate(questions):
            _hold_equal(
                _asks(asked, slice(number, number + 1)),
                _asks(Asked(model, [question])),
                ONE_BY_ONE,
                "of a water among others is not that of the water alone",
                partial(_told, asked, number),
            )

    for_all(several(ORDINARY, least=2), holds)


def _no_loop(model: ResinModel) -> None:
    steps_of_few, steps_of_many = _steps(model, FEW), _steps(model, MANY)
    for what, few in steps_of_few.items():
        if steps_of_many[what] > few + MOST_GROWTH:
            raise BrokenLawError(
                NO_LOOP,
                f"{what} takes {steps_of_many[what]:,} steps of Python for {MANY} waters and "
                f"{few:,} for {FEW}: it goes through them one by one",
                f"{MANY} times {QUESTION.told(*OTHERS)}",
                "use numpy on whole arrays: there may be a million waters in one call",
            )


def _steps(model: ResinModel, count: int) -> dict[str, int]:
    questions = [QUESTION] * count
    asked, water = Asked(model, questions), water_of(questions)
    used, flow, units = (column(questions, name) for name in OTHERS)
    asked.load_of(water)  # what is imported or cached at the first call does not count
    asked.outlet_of(used, water, flow, units)
    return {
        "load_eq_l": steps_of(lambda: asked.load_of(water)),
        "outlet_mg_l": steps_of(lambda: asked.outlet_of(used, water, flow, units)),
    }


PURITY_LAWS = (
    Law(NOTHING_ELSE, "No clock, chance, file or network is asked.", _nothing_else),
    Law(SAME_ANSWER, "The same question gets the same answer again.", _same_answer),
    Law(ARGUMENTS_KEPT, "Arrays that are given stay as they were.", _arguments_kept),
    Law(NO_LOOK_AHEAD, "No answer hangs on a later element.", _no_look_ahead),
    Law(ANY_ORDER, "The order of the waters does not matter.", _any_order),
    Law(ONE_BY_ONE, "A water among others is answered as if alone.", _one_by_one),
    Law(NO_LOOP, "Python does not go through the waters one by one.", _no_loop),
)
