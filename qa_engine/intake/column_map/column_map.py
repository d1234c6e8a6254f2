"""What a column map says: which column of a table fills which field of a record, and how."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

from qa_engine.intake.grids import TextForm

EVERY_SHEET = "*"
"""Stands for every sheet that no other table of the map names."""

DAY, TIME = "day", "time"
"""The parts that an instant may be written in, each in a column of its own."""

POINT, COMMA = "point", "comma"
"""The decimal signs."""

DAY_FIRST, MONTH_FIRST, YEAR_FIRST = "day-month-year", "month-day-year", "year-month-day"
"""The orders of a date written in numbers."""

UNANSWERED = "???"
"""Stands in a proposed map where an answer is needed."""


@dataclass(frozen=True)
class Column:
    """A column of a table and the field it fills.

    Attributes:
        head: its head, upper and lower ones joined; empty if only ``letter`` says which.
        letter: its letters in the sheet; empty if its head says which.
        field: the field that it fills.
        part: of an instant, ``DAY`` or ``TIME`` where each has its own column.
        unit: the unit of numbers that state none; empty for the field's own.
        decimal: ``POINT`` or ``COMMA``.
        date_order: how dates in numbers are written; empty where none is.
        words: what their words mean in ours, by theirs in lower case.
        carries_on: whether an empty cell means what the one above it says.
    """

    head: str
    letter: str
    field: str
    part: str = ""
    unit: str = ""
    decimal: str = POINT
    date_order: str = ""
    words: Mapping[str, str] = dataclasses.field(default_factory=dict)
    carries_on: bool = False

    @property
    def called(self) -> str:
        """What messages call it."""
        return f"'{self.head}'" if self.head else self.letter


@dataclass(frozen=True)
class MappedTable:
    """What the rows of a table, or of several alike, say.

    Attributes:
        sheets: the sheets it stands for; empty for files without sheets.
        head_lines: the rows on which heads stand, the upper one first.
        always: what every record of it says, by field; its kind may be among them.
        columns: those that are taken.
        columns_left_out: heads or letters of those that are not.
        rows_left_out: rows without a date that begin with one of these are no records.
        nothing: cells that say nothing.
        where: a row is a record only where one of these fields is filled; none: always.
        record_from: the fields that tell one record from another, where no column has ids;
            none: all columns.
        clock: the time of day of records that state none, HH:MM; empty if there is none.
        time_zone: the zone of its times; empty if the map does not say.
        line: where it stands in the map.
    """

    sheets: tuple[str, ...]
    head_lines: tuple[int, ...]
    always: Mapping[str, str]
    columns: tuple[Column, ...]
    columns_left_out: tuple[str, ...] = ()
    rows_left_out: tuple[str, ...] = ()
    nothing: tuple[str, ...] = ()
    where: tuple[str, ...] = ()
    record_from: tuple[str, ...] = ()
    clock: str = ""
    time_zone: str = ""
    line: int = 0


@dataclass(frozen=True)
class Question:
    """What a proposed map could not find out.

    Attributes:
        name: its name under ``answers``.
        text: the question, with what was seen.
        answers: what may be answered; empty if the words are free.
        line: where it stands in the map.
    """

    name: str
    text: str
    answers: tuple[str, ...] = ()
    line: int = 0


@dataclass(frozen=True)
class ColumnMap:
    """A column map, read and checked; a proposed one with questions is not ready to be used.

    Attributes:
        source: the file it stands in.
        text: what is written there.
        tables: what the tables say; none while there are questions.
        sheets_left_out: the sheets that are no tables of records.
        form: how text files are written.
        questions: what must be answered first.
    """

    source: str
    text: str
    tables: tuple[MappedTable, ...] = ()
    sheets_left_out: tuple[str, ...] = ()
    form: TextForm = dataclasses.field(default_factory=TextForm)
    questions: tuple[Question, ...] = ()

    def tables_for(self, sheet: str | None) -> tuple[MappedTable, ...]:
        """Return the tables that stand for a sheet, or for a file without sheets."""
        if sheet is None:
            return self.tables
        named = tuple(table for table in self.tables if sheet in table.sheets)
        return named or tuple(table for table in self.tables if EVERY_SHEET in table.sheets)
