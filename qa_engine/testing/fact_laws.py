"""Laws on facts that a plugin offers: no look-ahead, no neighbours, no blocks, the right kind.

Records are drawn at random and with gaps. No resin model is loaded, so that a fact which asks
models meets silence.
"""

from collections.abc import Callable
from random import Random

import polars as pl
from hypothesis import strategies as st

from qa_engine.errors import UnitError
from qa_engine.facts import SUBJECTS, Fact, FactGroup
from qa_engine.facts.fact import COLUMN_TYPES
from qa_engine.facts.past import Past
from qa_engine.history import History
from qa_engine.plugin_host import checked_facts
from qa_engine.plugin_wall import Wall
from qa_engine.subjects import is_judged_in_blocks
from qa_engine.testing.drawn_records import (
    INSTANTS,
    Numbered,
    drawn_records,
    drawn_register,
    history_of,
    subjects_up_to,
    up_to,
)
from qa_engine.testing.law import FLEET_TRIALS, SAME_ANSWER, BrokenLawError, Law, for_all
from qa_engine.units import unit

DECLARED = "facts-are-declared"
BESIDE = "facts-stand-beside-their-subjects"
IN_RANGE = "numbers-lie-in-their-range"
NO_LOOK_AHEAD = "later-records-change-no-fact"
APART = "other-subjects-change-no-fact"
BLOCKS = "blocks-of-tanks-change-no-fact"

SEEDS = st.integers(0, 2**32)
REGISTER = drawn_register()
BLOCKS_TRIED = 3


def _found(group: FactGroup, kind: str, history: History, subjects: pl.DataFrame) -> pl.DataFrame:
    """Return the facts of subjects; whatever is wrong with their kind is a breach by itself."""
    wall, until = Wall(), subjects["until"].max() or INSTANTS[0]
    past = Past(history, {}, until)  # type: ignore[arg-type]
    types = {fact.name: COLUMN_TYPES[fact.type] for fact in group.facts}
    found: pl.DataFrame | None = wall.ask(
        "plugin", "find", lambda: checked_facts(group.find(subjects, past), types, subjects)
    )
    if found is None:
        raise BrokenLawError(
            BESIDE,
            f"asked for the facts of {subjects.height} subjects of the kind '{kind}', the group "
            f"failed: {wall.failures['plugin']}",
            _told(history),
            "return a frame row for row beside the subjects, a column per fact in its type, null "
            "where it is unknown",
        )
    return found.select(*types)


def _told(history: History) -> str:
    kinds = {kind: frame.height for kind, frame in history.frames.items() if frame.height}
    return f"records by kind: {kinds or 'none'}"


def _declared(group: FactGroup) -> None:
    if unknown := sorted(set(group.subjects) - set(SUBJECTS)):
        _refuse(f"there are no subjects '{unknown[0]}'", f"use some of {', '.join(SUBJECTS)}")
    for fact in group.facts:
        if not fact.name.isidentifier() or fact.name != fact.name.lower():
            _refuse(f"'{fact.name}' is no name for a fact", "write it in snake_case")
        if not fact.meaning.strip():
            _refuse(f"'{fact.name}' does not say what it means", "say it in one plain sentence")
        _unit_is_known(fact)


def _unit_is_known(fact: Fact) -> None:
    if (fact.type == "number") is (fact.unit is None):
        _refuse(f"'{fact.name}' is a {fact.type} with unit {fact.unit}", "give numbers a unit, '1'")
    try:
        unit(fact.unit or "1")
    except UnitError as error:
        _refuse(f"'{fact.name}': {error}", "use a unit of qa_engine.units")


def _refuse(wrong: str, would_do: str) -> None:
    raise BrokenLawError(DECLARED, wrong, "", would_do)


def _beside(group: FactGroup) -> None:
    def holds(kind: str, records: list[Numbered]) -> None:
        history = history_of(records, REGISTER)
        _found(group, kind, history, subjects_up_to(kind, history, INSTANTS[-1]))

    _for_all_subjects(group, holds)


def _in_range(group: FactGroup) -> None:
    def holds(kind: str, records: list[Numbered]) -> None:
        history = history_of(records, REGISTER)
        found = _found(group, kind, history, subjects_up_to(kind, history, INSTANTS[-1]))
        for fact in group.facts:
            if fact.type == "number" and (wrong := _outside(fact, found[fact.name])):
                would_do = "widen low and high in the Fact, or mend the sum"
                raise BrokenLawError(IN_RANGE, f"{wrong} for a {kind}", _told(history), would_do)

    _for_all_subjects(group, holds)


def _outside(fact: Fact, numbers: pl.Series) -> str | None:
    outside = numbers.filter((numbers < fact.low) | (numbers > fact.high))
    if not outside.len():
        return None
    return f"'{fact.name}' is {outside[0]:g}, beyond its range {fact.low:g} to {fact.high:g},"


def _no_look_ahead(group: FactGroup) -> None:
    def holds(kind: str, records: list[Numbered]) -> None:
        whole = history_of(records, REGISTER)
        for until in INSTANTS[:-1]:
            so_far = history_of(up_to(records, until), REGISTER)
            subjects = subjects_up_to(kind, so_far, until)
            before = _found(group, kind, so_far, subjects)
            _hold_equal(
                before, _found(group, kind, whole, subjects), subjects, NO_LOOK_AHEAD,
                "changes when records come in that are later than its subject",
                "look at nothing after 'at' (in a group that looks ahead, 'until'): "
                "qa_engine.history.latest does so",
            )  # fmt: skip

    _for_all_subjects(group, holds)


def _apart(group: FactGroup) -> None:
    def holds(kind: str, records: list[Numbered]) -> None:
        history = history_of(records, REGISTER)
        subjects = subjects_up_to(kind, history, INSTANTS[-1])
        some = subjects.gather_every(2)
        _hold_equal(
            _found(group, kind, history, subjects).gather_every(2),
            _found(group, kind, history, some),
            some,
            APART,
            "changes when other subjects are left out",
            "find the facts of a subject from the past, not from the subjects beside it",
        )

    _for_all_subjects(group, holds)


def _again(group: FactGroup) -> None:
    def holds(kind: str, records: list[Numbered]) -> None:
        history = history_of(records, REGISTER)
        subjects = subjects_up_to(kind, history, INSTANTS[-1])
        first = _found(group, kind, history, subjects)
        _hold_equal(
            first,
            _found(group, kind, history, subjects),
            subjects,
            SAME_ANSWER,
            "is not the same when asked for again",
            "answer from the subjects and the past alone, without chance, clock or memory",
        )

    _for_all_subjects(group, holds)


def _blocks(group: FactGroup) -> None:
    def holds(kind: str, records: list[Numbered]) -> None:
        whole = history_of(records, REGISTER)
        for block in whole.blocks(BLOCKS_TRIED):
            asked = subjects_up_to(kind, block, INSTANTS[-1])
            subjects = asked.filter(pl.col("tank").is_in(block.tanks().implode()))
            _hold_equal(
                _found(group, kind, whole, subjects), _found(group, kind, block, subjects),
                subjects, BLOCKS, "changes when other tanks are not looked at",
                "look at the records of the subject's own tank only: fleets are judged in blocks",
            )  # fmt: skip

    _for_all_subjects(group, holds, is_judged_in_blocks)


def _hold_equal(
    before: pl.DataFrame,
    now: pl.DataFrame,
    subjects: pl.DataFrame,
    law: str,
    wrong: str,
    would_do: str,
) -> None:
    for name in before.columns:
        differs = before[name].ne_missing(now[name]).arg_true()
        if differs.len():
            row = int(differs[0])
            subject = f"subject {subjects['subject'][row]} at {subjects['at'][row]:%Y-%m-%d %H:%M}"
            told = f"{before[name][row]}, then {now[name][row]}"
            raise BrokenLawError(law, f"'{name}' {wrong}: {told}", subject, would_do)


def _for_all_subjects(
    group: FactGroup,
    holds: Callable[[str, list[Numbered]], None],
    asked: Callable[[str], bool] = lambda kind: True,
) -> None:
    kinds = [kind for kind in group.subjects if asked(kind)]

    def of_all(seed: int) -> None:
        records = drawn_records(Random(seed))
        for kind in kinds:
            holds(kind, records)

    for_all(SEEDS, of_all, FLEET_TRIALS)


FACT_LAWS: tuple[Law[FactGroup], ...] = (
    Law(DECLARED, "Facts have a name, a meaning and a unit.", _declared, vital=True),
    Law(BESIDE, "Facts stand row for row beside their subjects, in their types.", _beside),
    Law(IN_RANGE, "Numbers lie in the range that is declared for them.", _in_range),
    Law(NO_LOOK_AHEAD, "Records after a subject change none of its facts.", _no_look_ahead),
    Law(SAME_ANSWER, "The same question gets the same answer again.", _again),
    Law(APART, "Facts of one subject do not hang on which others are asked for.", _apart),
    Law(BLOCKS, "Facts of one tank do not hang on which others are looked at.", _blocks),
)
"""Every law of a group of facts."""
