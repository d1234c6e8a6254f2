"""Proposes a column map for a file: guesses what the data decide, and asks for the rest."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path, PurePath

from qa_engine.errors import IntakeError
from qa_engine.fields import Day, Instant, Quantity
from qa_engine.intake.column_map.column_map import ColumnMap, Question
from qa_engine.intake.column_map.form import SEPARATOR_NAMES
from qa_engine.intake.column_map.reading import map_of
from qa_engine.intake.grids import Grid, TextForm, grids_of
from qa_engine.intake.grids.opening import TEXT_TABLES
from qa_engine.intake.grids.text_grid import TextGrid
from qa_engine.intake.proposal.date_orders import Decided, date_order
from qa_engine.intake.proposal.decimals import decimal_sign
from qa_engine.intake.proposal.questions import Questions
from qa_engine.intake.proposal.register_names import RegisterNames
from qa_engine.intake.proposal.seen import SeenColumn, see
from qa_engine.intake.proposal.tables import Proposed, propose_tables
from qa_engine.intake.proposal.writing import Sheets, written_map
from qa_engine.intake.text_encoding import encoding_of
from qa_engine.intake.written_file import WrittenFile
from qa_engine.records import RECORD_FIELDS
from qa_engine.register import Register


def propose_map(
    file: Path | WrittenFile,
    register: Register | None = None,
    told: Mapping[str, str] | None = None,
) -> ColumnMap:
    """Return a column map for a file, as far as it can be told; what cannot is a question.

    Its ``text`` is what is to be written down. With questions left it is not taken until each is
    answered: what the data do not decide is never guessed.

    Args:
        file: XLSX, CSV or other text tables, JSON Lines or Parquet.
        register: the ids of vans, tanks, meters and classes, and the operator's time zone.
        told: what people said of columns, as ``Questions.told`` has it.

    Raises:
        IntakeError: the file cannot be read, or nothing in it looks like a table of records.
    """
    written = WrittenFile.of(file)
    questions = Questions(told=told or {})
    head: dict[str, Decided] = {"time_zone": _zone(register, questions)}
    with written.open() as stream:
        encoding = encoding_of(stream) if written.suffix in TEXT_TABLES else None
        with grids_of(written, stream, TextForm(encoding)) as grids:
            tables, left_out = _tables(grids, RegisterNames(register), questions)
            head |= _text_form(encoding, grids)
    if not tables:
        raise IntakeError(
            f"{written.name}: nothing in it looks like a table of records: a row of column heads "
            "with a date among them, and rows below"
        )
    head |= _written_ways([table for table, _ in tables], questions)
    name = PurePath(written.name).name
    text = written_map(name, head, tables, left_out, questions)
    proposed = map_of(f"column map proposed for {name}", text.encode())
    return replace(
        proposed, questions=tuple(_as_asked(one, questions) for one in proposed.questions)
    )


def _as_asked(question: Question, questions: Questions) -> Question:
    """Return a question of a map as it was asked, with what may be answered."""
    asked = questions.asked[question.name]
    return replace(question, text=asked.text + asked.choice, answers=asked.answers)


def _zone(register: Register | None, questions: Questions) -> Decided:
    if register is not None:
        return Decided(register.zone.key, "the operator's, from the register")
    text = "By which clock are its times? Write a time zone such as Europe/London."
    return Decided(questions.ask("time zone", text))


def _text_form(encoding: str | None, grids: Sequence[Grid]) -> dict[str, Decided]:
    if encoding is None:
        return {}
    separators = [one.separator for one in grids if isinstance(one, TextGrid)]
    why = "not UTF-8, so taken for this; look at its umlauts" if encoding == "cp1252" else ""
    form = {"encoding": Decided(encoding, why)}
    if separators:
        form["separator"] = Decided(SEPARATOR_NAMES[separators[0]])
    return form


def _tables(
    grids: Sequence[Grid], names: RegisterNames, questions: Questions
) -> tuple[Sheets, list[str]]:
    """Return the tables, sheets that are alike as one, and the sheets that seem to be none."""
    alike: dict[object, tuple[Proposed, list[str]]] = {}
    left_out: list[str] = []
    for grid in grids:
        seen = see(grid)
        proposed = propose_tables(seen, names, questions) if seen else ()
        if not proposed and grid.sheet:
            left_out.append(grid.sheet)
        for one in proposed:
            _, sheets = alike.setdefault(_likeness(one), (one, []))
            if grid.sheet:
                sheets.append(grid.sheet)
    return list(alike.values()), left_out


def _likeness(table: Proposed) -> object:
    """Return what sheets have in common that one table of the map can stand for."""
    columns = tuple(
        (one.column.key, one.column.head, one.field, one.part, one.unit, tuple(one.words.items()))
        for one in table.guesses
    )
    left = tuple((column.head, why) for column, why in table.left_out)
    ways = (table.clock, table.rows_left_out, table.nothing, table.where)
    carried = tuple(table.carries_on.items())
    lines = table.seen.head_lines
    return lines, table.kind, tuple(table.always.items()), columns, left, ways, carried


def _written_ways(tables: Sequence[Proposed], questions: Questions) -> dict[str, Decided]:
    dates: list[SeenColumn] = []
    numbers: list[SeenColumn] = []
    for table in tables:
        for guess in table.guesses:
            field = RECORD_FIELDS[guess.fields[0]]
            if isinstance(field, Instant | Day) and guess.part != "time":
                dates.append(guess.column)
            elif isinstance(field, Quantity):
                numbers.append(guess.column)
    return {
        "date_order": date_order(dates, questions),
        "decimal": decimal_sign(numbers, questions),
    }
