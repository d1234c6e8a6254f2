"""Puts guessed columns together to tables of a map: what kinds of record they give, and where."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import polars as pl

from qa_engine.intake.column_map.column_map import DAY, TIME
from qa_engine.intake.proposal.columns import Guess, guesses, states_clock
from qa_engine.intake.proposal.questions import Questions, Ref
from qa_engine.intake.proposal.register_names import RegisterNames
from qa_engine.intake.proposal.seen import SeenColumn, SeenTable, is_date
from qa_engine.intake.proposal.vocabulary import SILENT, kind_of
from qa_engine.records import COMMON, KINDS

NOON = "12:00"
"""Where a table states days only, its records are put here: at most half a day from the truth."""

_SHARED = (*COMMON, "counter", "source", "job", "meter")
"""Fields that do not tell by themselves of which kind a record is."""


@dataclass(frozen=True)
class Proposed:
    """A table of the map to be.

    Attributes:
        seen: the table as it was seen.
        kind: of its records; empty if a column says it.
        always: what is said of every record, by field.
        reasons: why, by field.
        guesses: its columns.
        left_out: columns that are not taken, with the reason.
        where: a row is a record only where one of these fields is filled.
        clock: the time of day of records that state none.
        rows_left_out: words that begin rows of totals.
        nothing: cells that say nothing.
        carries_on: keys of columns in which an empty cell means the one above; by question.
    """

    seen: SeenTable
    kind: str | Ref
    always: Mapping[str, str | Ref]
    reasons: Mapping[str, str]
    guesses: tuple[Guess, ...]
    left_out: tuple[tuple[SeenColumn, str], ...] = ()
    where: tuple[str, ...] = ()
    clock: str = ""
    rows_left_out: tuple[str, ...] = ()
    nothing: tuple[str, ...] = ()
    carries_on: Mapping[str, bool | Ref] = field(default_factory=dict)


def propose_tables(
    seen: SeenTable, names: RegisterNames, questions: Questions
) -> tuple[Proposed, ...]:
    """Return what a table of a file gives: a table of the map per kind of record.

    Args:
        seen: the table.
        names: the ids that the register knows.
        questions: where questions are asked.
    """
    taken, left = guesses(seen, names, questions)
    if not any(one.field == "at" for one in taken):
        return ()
    groups = list(_kinds(seen, taken, questions))
    used = {id(one.column) for _, columns, _ in groups for one in columns}
    left += [(one.column, "no record has it here") for one in taken if id(one.column) not in used]
    shared = _common_parts(seen, taken, questions)
    made = []
    for number, (kind, columns, where) in enumerate(groups):
        always, reasons, more = _constants(seen, kind, columns, names, questions)
        of_head = {name: value for one in columns for name, value in one.always.items()}
        proposed = replace(
            shared,
            kind=kind,
            always={**always, **of_head},
            reasons=reasons,
            guesses=(*columns, *more),
            where=where if len(groups) > 1 else (),
            left_out=tuple(left) if number == 0 else (),
        )
        made.append(proposed)
    return tuple(made)


def _common_parts(seen: SeenTable, taken: Sequence[Guess], questions: Questions) -> Proposed:
    moments = [one for one in taken if one.field == "at"]
    clock = "" if any(one.part == TIME or states_clock(one) for one in moments) else NOON
    day = next((one for one in moments if one.part in ("", DAY)), moments[0])
    undated = _undated_rows(seen, day.column)
    return Proposed(
        seen,
        "",
        {},
        {},
        (),
        clock=clock,
        rows_left_out=seen.total_words,
        nothing=_silent_words(taken),
        carries_on=_carrying(seen, taken, day, undated, questions),
    )


def _kinds(
    seen: SeenTable, taken: list[Guess], questions: Questions
) -> Iterator[tuple[str | Ref, list[Guess], tuple[str, ...]]]:
    """Yield kinds of record, the columns that each has, and the fields that tell it is there."""
    if any(one.field == "kind" for one in taken):
        yield "", taken, ()
        return
    left = [one for one in taken if one.fields[0] not in _SHARED]
    kinds: list[str] = []
    while left and (kind := _most(seen, left, kinds)):
        own = [one for one in left if one.fields[0] in KINDS[kind].fields]
        left = [one for one in left if one not in own]
        kinds.append(kind)
        yield from _of_kind(kind, own, taken, first=len(kinds) == 1)
    if not kinds:
        told = kind_of(_title(seen))
        text = f"What kind of record are the rows of {seen.called}?"
        fields = [one for one in taken if not told or one.fields[0] in KINDS[told].fields]
        yield told or questions.ask(f"kind in {seen.called}", text, tuple(KINDS)), fields, ()


def _of_kind(
    kind: str, own: list[Guess], taken: list[Guess], *, first: bool
) -> Iterator[tuple[str, list[Guess], tuple[str, ...]]]:
    known = KINDS[kind].fields
    shared = [one for one in taken if one.fields[0] in _SHARED and one.fields[0] in known]
    if not first:
        shared = [one for one in shared if one.fields[0] in COMMON and one.field != "note"]
    by_class = [one for one in own if one.always]
    rest = [one for one in own if not one.always]
    tells = tuple(dict.fromkeys(name for one in rest for name in one.fields[:1]))
    if rest or not by_class:
        yield kind, [*shared, *rest], tells
    for one in by_class:
        common = [each for each in shared if each.fields[0] in COMMON]
        yield kind, [*common, one], ("rinses",)


def _most(seen: SeenTable, left: Sequence[Guess], kinds: Sequence[str]) -> str:
    """Return the kind that has most of the fields left; the title decides between equals."""
    told = kind_of(_title(seen))

    def score(kind: str) -> tuple[int, bool]:
        return sum(one.fields[0] in KINDS[kind].fields for one in left), kind == told

    best = max((kind for kind in KINDS if kind not in kinds), key=score)
    return best if score(best)[0] else ""


def _title(seen: SeenTable) -> str:
    return " ".join(filter(None, [seen.grid.sheet, *seen.titles])) or seen.grid.name


def _constants(
    seen: SeenTable,
    kind: str | Ref,
    columns: Sequence[Guess],
    names: RegisterNames,
    questions: Questions,
) -> tuple[dict[str, str | Ref], dict[str, str], list[Guess]]:
    """Return what is said of all rows, why, and columns that also fill a second field."""
    filled = {name for one in columns for name in one.fields}
    always: dict[str, str | Ref] = {}
    reasons: dict[str, str] = {}
    for name in ("van", "tank", "meter"):
        known = not isinstance(kind, str) or kind == "" or name in KINDS[kind].fields
        found = names.named_in(name, [seen.grid.sheet or "", *seen.titles]) if known else []
        if name not in filled and len(found) == 1:
            always[name], reasons[name] = found[0], "named above the table or on its tab"
    item = KINDS[kind].item if isinstance(kind, str) and kind else "tank"
    if item in filled or item in always:
        return always, reasons, []
    if item == "tank":
        van = always.get("van")
        if isinstance(van, str) and (tank := names.only_tank(van)):
            return {**always, item: tank}, {**reasons, item: f"the only tank of {van}"}, []
        if (by_van := _tank_by_van(columns, names)) is not None:
            return always, reasons, [by_van]
    text = f"Which {item} are the rows of {seen.called} about?"
    always[item] = questions.ask(f"{item} in {seen.called}", text, tuple(names.ids(item)))
    return always, reasons, []


def _tank_by_van(columns: Sequence[Guess], names: RegisterNames) -> Guess | None:
    """Return a guess that takes the tank from the column of vans, if each has just one."""
    van = next((one for one in columns if one.field == "van"), None)
    if van is None:
        return None
    tanks = {one: names.only_tank(str(van.words.get(one, one))) for one in van.column.written}
    if not tanks or not all(tanks.values()):
        return None
    return Guess(van.column, "tank", words=tanks, why="each van has one tank in the register")


def _undated_rows(seen: SeenTable, day: SeenColumn) -> pl.DataFrame:
    """Return the rows that hold more than one cell and no date."""
    frame = pl.DataFrame({one.key: one.cells for one in seen.columns})
    filled = frame.select(pl.sum_horizontal(pl.all().is_not_null()))[frame.columns[0]]
    return frame.filter(~is_date(day.cells) & (filled > 1))


def _silent_words(taken: Sequence[Guess]) -> tuple[str, ...]:
    texts = [text for one in taken if one.field != "note" for text in one.column.texts]
    return tuple(dict.fromkeys(text for text in texts if text.casefold() in SILENT))


def _carrying(
    seen: SeenTable,
    taken: Sequence[Guess],
    day: Guess,
    undated: pl.DataFrame,
    questions: Questions,
) -> dict[str, bool | Ref]:
    """Return the columns in which an empty cell may mean the one above; the day decides."""
    key = day.column.key
    open_ = undated.filter(undated[key].is_null())
    if not open_.height:
        return {}
    ids = [one.column.key for one in taken if one.field in ("van", "tank", "by")]
    also = [one for one in ids if open_[one].null_count() == open_.height]
    text = (
        f"Does an empty cell in column '{day.column.head or key}' of {seen.called} mean what the "
        "cell above says?"
    )
    answer = questions.ask(f"empty cells in {day.column.head or key}", text, ("yes", "no"))
    return dict.fromkeys([key, *also], answer)
