"""Guesses what each column of a table fills, and how it is written."""

import dataclasses
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from qa_engine.fields import Quantity, Word, YesNo
from qa_engine.intake.column_map.column_map import DAY, TIME
from qa_engine.intake.column_map.making import fits
from qa_engine.intake.proposal.questions import Questions, Ref
from qa_engine.intake.proposal.register_names import RegisterNames
from qa_engine.intake.proposal.seen import SeenColumn, SeenTable, is_date
from qa_engine.intake.proposal.vocabulary import (
    EITHER_WATER,
    NO_WORDS,
    SILENT,
    YES_WORDS,
    kind_of,
    meaning_of,
    our_word,
    units_in,
)
from qa_engine.intake.workbook import TYPED
from qa_engine.records import KINDS, RECORD_FIELDS

_MOST_WORDS = 40
_MOST_ASKED = 4
_CONDUCTIVITY = {
    "inlet_tds": "inlet_conductivity",
    "outlet_tds": "outlet_conductivity",
}
_UNITS = ("gal", "L", "m3", "psi", "kPa", "bar", "degF", "degC", "gpm", "L/min", "lb", "kg")
_MORE_UNITS = ("in", "mm", "cm", "min", "s", "ft3", "mg/L", "uS/cm", "%")


@dataclass(frozen=True)
class Guess:
    """What a column seems to fill.

    Attributes:
        column: the column.
        field: the field, or what stands for the answer.
        part: of an instant.
        unit: the unit of numbers without one.
        words: translations of words.
        always: what its records say besides, such as a class of vehicle named by its head.
        why: what the remark behind the line says.
    """

    column: SeenColumn
    field: str | Ref
    part: str = ""
    unit: str | Ref = ""
    words: Mapping[str, str | Ref] = dataclasses.field(default_factory=dict)
    always: Mapping[str, str] = dataclasses.field(default_factory=dict)
    why: str = ""

    @property
    def fields(self) -> tuple[str, ...]:
        """The fields that it may fill."""
        told = EITHER_WATER if isinstance(self.field, Ref) else self.field
        return tuple(told.split(" or "))


def guesses(
    table: SeenTable, names: RegisterNames, questions: Questions
) -> tuple[list[Guess], list[tuple[SeenColumn, str]]]:
    """Return what the columns of a table seem to fill, and those left out, each with the reason."""
    taken: list[Guess] = []
    left: list[tuple[SeenColumn, str]] = []
    for column in sorted(table.columns, key=lambda one: one.head not in questions.told):
        guess, why = _told(column, questions) or _guess(column, names)
        if guess is None:
            left.append((column, why))
        elif _there(guess, taken):
            left.append((column, f"'{guess.field}' is filled by another column"))
        else:
            taken.append(guess)
    timed = _with_parts(taken)
    used = {one.column.key for one in timed}
    unused = [one.column for one in taken if one.column.key not in used]
    left += [(column, "when it was is in another column, or in none") for column in unused]
    return list(_detailed(_sides(timed), names, questions)), left


def _there(guess: Guess, taken: list[Guess]) -> bool:
    return any(
        (one.field, one.part, one.always) == (guess.field, guess.part, guess.always)
        for one in taken
    )


def _told(column: SeenColumn, questions: Questions) -> tuple[Guess | None, str] | None:
    """Return what people said that a column fills; nothing if they said nothing of it."""
    told = questions.told.get(column.head)
    if told is None:
        return None
    field, _, part = told.partition("/")
    if field not in RECORD_FIELDS or not column.written:
        return None, "left out as you said" if not told else "nothing is written in it"
    return Guess(column, field, part, why="as you said"), ""


def _guess(column: SeenColumn, names: RegisterNames) -> tuple[Guess | None, str]:
    if not column.written:
        return None, "nothing is written in it"
    class_ = names.meant("vehicle_class", column.head) if column.head else ""
    if class_ and all(re.fullmatch("[0-9]{1,4}", one) for one in column.written[:50]):
        why = f"counts of '{class_}'"
        return Guess(column, "rinses", always={"vehicle_class": class_}, why=why), ""
    meaning = meaning_of(column.head) if column.head else None
    if meaning is None:
        return None, "not recognised"
    if meaning.field == "by" and _are_names(column):
        return None, "these look like names; give people ids ('words:' can) to take it"
    if meaning.field == "record" and len(column.written) < column.cells.drop_nulls().len():
        return None, "no ids, since some stand twice"
    return Guess(column, meaning.field, meaning.part), ""


def _are_names(column: SeenColumn) -> bool:
    """Tell whether most cells look like names of people rather than ids or initials."""
    named = [one for one in column.written if re.search(r"[^\W\d_][a-zß-ÿ]{2,}", one)]
    return 2 * len(named) > len(column.written)


def _with_parts(taken: list[Guess]) -> list[Guess]:
    """Return the guesses, an instant in parts only where there are two columns for it."""
    parts = {one.part for one in taken if one.field == "at"}
    if parts == {DAY}:
        return [replace(one, part="") if one.field == "at" else one for one in taken]
    if parts == {TIME}:
        return [
            replace(one, part="") if one.field == "at" else one
            for one in taken
            if one.field != "at" or is_date(one.column.cells).any()
        ]
    if "" in parts:
        return [one for one in taken if one.field != "at" or not one.part]
    return taken


def _sides(taken: list[Guess]) -> list[Guess]:
    """Return readings before and after a tank as inlet and outlet, where no resin was changed."""
    resin = {"change", "grade", "lot", "resin_volume", "resin_mass", "riser_checked"}
    if any(one.fields[0] in resin for one in taken):
        return taken
    sides = {"outlet_tds_before": "inlet_tds", "outlet_tds_after": "outlet_tds"}
    return [
        replace(one, field=sides[one.field], why="taken as before and after the tank")
        if isinstance(one.field, str) and one.field in sides
        else one
        for one in taken
    ]


def _detailed(taken: list[Guess], names: RegisterNames, questions: Questions) -> Iterator[Guess]:
    for guess in taken:
        field = RECORD_FIELDS[guess.fields[0]]
        if guess.field == EITHER_WATER:
            yield _side(guess, questions)
        elif isinstance(field, Quantity):
            yield _measured(guess, questions)
        elif isinstance(field, Word):
            yield _worded(guess, field.words, questions)
        elif isinstance(field, YesNo):
            yield _answered(guess, questions)
        elif guess.field == "kind":
            yield _kinds(guess, questions)
        else:
            yield _named(guess, names, questions)


def _side(guess: Guess, questions: Questions) -> Guess:
    measured = _measured(replace(guess, field="outlet_tds"), questions)
    fields = measured.field if isinstance(measured.field, str) else ""
    text = f"Which water does column '{guess.column.head}' show ({guess.column.sample})?"
    options = (fields, fields.replace("outlet", "inlet"))
    return replace(measured, field=questions.ask(f"field of {guess.column.head}", text, options))


def _measured(guess: Guess, questions: Questions) -> Guess:
    """Return a guess about numbers with their unit: from head or cells, or asked for."""
    name = guess.fields[0]
    either = f"{name} or {_CONDUCTIVITY[name]}" if name in _CONDUCTIVITY else name
    for unit in units_in(guess.column.head):
        fitting = [one for one in either.split(" or ") if fits(one, unit)]
        if fitting:
            return replace(
                guess, field=fitting[0], unit=unit, why=_joined(guess.why, "unit from the head")
            )
    field = RECORD_FIELDS[name]
    own = field.unit if isinstance(field, Quantity) else ""
    if own in ("1", "count", "%") or not _has_plain_numbers(guess.column):
        return guess
    options = _options(either)
    text = f"In which unit is '{guess.column.head}' ({guess.column.sample})?"
    about = _about(name, guess.column.head)
    if about == "TDS":
        text = f"Does '{guess.column.head}' ({guess.column.sample}) show ppm (mg/L) or uS/cm?"
    return replace(guess, field=either, unit=questions.ask(f"unit of {about}", text, options))


def _joined(*reasons: str) -> str:
    return "; ".join(reason for reason in reasons if reason)


def _about(name: str, head: str) -> str:
    """Return what a question about a unit is called, one for all columns of one sort."""
    if name in _CONDUCTIVITY or "_tds_" in name:
        return "TDS"
    if name.endswith("_pressure"):
        return "pressure"
    return re.sub(r"[^\w ]+", " ", head).strip() or name


def _options(either: str) -> tuple[str, ...]:
    """Return the units that may be answered, those of the United States and the metric ones."""
    names = either.split(" or ")
    known = (*_UNITS, *_MORE_UNITS)
    fitting = tuple(unit for unit in known if any(fits(name, unit) for name in names))
    return tuple("ppm" if unit == "mg/L" else unit for unit in fitting)


def _has_plain_numbers(column: SeenColumn) -> bool:
    plain = column.cells.drop_nulls()
    typed = plain.str.starts_with(TYPED) | plain.str.contains(r"^ *[0-9][0-9., ']*$")
    return bool(typed.any())


def _worded(guess: Guess, ours: tuple[str, ...], questions: Questions) -> Guess:
    words: dict[str, str | Ref] = {}
    for theirs in _spoken(guess.column):
        if theirs.casefold() in map(str.casefold, ours):
            continue
        meant = our_word(theirs, ours)
        words[theirs] = meant or _ask_word(guess, theirs, ours, questions)
    return replace(guess, words=words)


def _ask_word(guess: Guess, theirs: str, ours: tuple[str, ...], questions: Questions) -> Ref:
    place = guess.column.place(theirs)
    text = f"What does '{theirs}' mean in column '{guess.column.head}' ({place})?"
    about = re.sub(r"[^\w ]+", " ", theirs).strip() or place
    return questions.ask(f"meaning of {about}", text, ours)


def _spoken(column: SeenColumn) -> list[str]:
    """Return the different words of a column, as far as they are words of a kind."""
    said = {one.casefold(): one for one in reversed(column.written[:_MOST_WORDS])}
    return [one for one in reversed(said.values()) if one.casefold() not in SILENT]


def _answered(guess: Guess, questions: Questions) -> Guess:
    words: dict[str, str | Ref] = {}
    for theirs in _spoken(guess.column):
        folded = theirs.casefold()
        if folded in ("yes", "no", "true", "false"):
            continue
        meant = "yes" if folded in YES_WORDS else "no" if folded in NO_WORDS else ""
        words[theirs] = meant or _ask_word(guess, theirs, ("yes", "no"), questions)
    return replace(guess, words=words)


def _kinds(guess: Guess, questions: Questions) -> Guess:
    words: dict[str, str | Ref] = {}
    for theirs in _spoken(guess.column):
        meant = kind_of(theirs)
        if meant != theirs:
            words[theirs] = meant or _ask_word(guess, theirs, tuple(KINDS), questions)
    return replace(guess, words=words)


def _named(guess: Guess, names: RegisterNames, questions: Questions) -> Guess:
    """Return a guess about ids, with those of the register for what is written."""
    name = guess.fields[0]
    ids = names.ids(name)
    if not ids:
        return guess
    words: dict[str, str | Ref] = {}
    unknown = []
    for theirs in _spoken(guess.column):
        meant = names.meant(name, theirs)
        if meant and meant != theirs:
            words[theirs] = meant
        elif not meant:
            unknown.append(theirs)
    if name == "vehicle_class" and 0 < len(unknown) <= _MOST_ASKED:
        words |= {theirs: _ask_word(guess, theirs, tuple(ids), questions) for theirs in unknown}
        unknown = []
    why = f"not in the register: {', '.join(unknown[:3])}" if unknown else ""
    return replace(guess, words=words, why=why)


def states_clock(guess: Guess) -> bool:
    """Tell whether a column of instants says the time of day in any row."""
    cells = guess.column.cells.drop_nulls()
    dates = cells.filter(is_date(cells))
    return bool(dates.str.contains(r"[0-9][:hT.][0-9]{2}(?:[^0-9.]|$)").any())
