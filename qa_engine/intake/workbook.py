"""Workbooks in the XLSX form (ISO/IEC 29500): their sheets, cell by cell, as text.

Cells keep their type where it matters: a number that was typed as a number has a mark before it,
so that no decimal sign is read into it; a date that was typed as a date is written YYYY-MM-DD.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cached_property
from typing import Any, BinaryIO

from qa_engine.errors import IntakeError
from qa_engine.intake.workbook_size import check_size

TYPED = "\N{START OF TEXT}"
"""Stands before a number that the sheet holds as a number, not as text."""

_MISSING = (
    "reading .xlsx files needs one more package: pip install 'qa-engine[xlsx]' "
    "(or save the sheet as CSV)"
)

Span = tuple[tuple[int, int], tuple[int, int]]
"""The first and the last cell of a merged range, each as row and column from 0."""


@dataclass(frozen=True)
class Sheet:
    """A sheet of a workbook.

    Attributes:
        name: as its tab shows it.
        rows: its cells from A1 on, as text; nothing where nothing is written.
        merged: its merged ranges.
    """

    name: str
    rows: list[list[str | None]]
    merged: tuple[Span, ...] = ()

    @cached_property
    def width(self) -> int:
        return max(map(len, self.rows), default=0)


def letters(column: int) -> str:
    """Return the letters of a column, which is counted from 0: A, B, ... Z, AA."""
    named = ""
    column += 1
    while column:
        column, place = divmod(column - 1, 26)
        named = chr(ord("A") + place) + named
    return named


def read_workbook(name: str, stream: BinaryIO) -> tuple[Sheet, ...]:
    """Return the sheets of a workbook that can be seen and hold anything.

    Raises:
        IntakeError: it is no workbook, is locked with a password or too large, or the package that
            reads workbooks is not installed.
    """
    try:
        import python_calamine as calamine
    except ImportError:
        raise IntakeError(f"{name}: {_MISSING}") from None
    check_size(name, stream)
    try:
        workbook = calamine.CalamineWorkbook.from_filelike(stream)
        return tuple(_sheets(workbook, calamine))
    except (calamine.CalamineError, ValueError, OSError) as error:
        raise IntakeError(f"{name}: the workbook cannot be read: {error}") from None


def _sheets(workbook: Any, calamine: Any) -> Iterator[Sheet]:
    for told in workbook.sheets_metadata:
        seen = told.visible == calamine.SheetVisibleEnum.Visible
        if not seen or told.typ != calamine.SheetTypeEnum.WorkSheet:
            continue
        sheet = workbook.get_sheet_by_name(told.name)
        rows = [[text_of(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)]
        while rows and not any(rows[-1]):
            rows.pop()
        if rows:
            yield Sheet(told.name, rows, tuple(sheet.merged_cell_ranges or ()))


def text_of(cell: Any) -> str | None:
    """Return a cell as text, a number with ``TYPED`` before it; an empty one gives nothing."""
    match cell:
        case str():
            return cell if cell.strip() else None
        case bool():
            return "true" if cell else "false"
        case int() | float():
            return TYPED + _digits(cell)
        case datetime() | date() | time():
            return cell.isoformat()
        case timedelta():
            return f"{round(cell.total_seconds())} s"
    return None


def _digits(number: float) -> str:
    whole = isinstance(number, int) or (number.is_integer() and abs(number) < 1e15)
    return str(int(number)) if whole else repr(number)


def spread_down(sheet: Sheet) -> Iterator[tuple[int, int, str]]:
    """Yield the cells below the first of each merged range: row and column from 0, and the text."""
    for (top, left), (bottom, _) in sheet.merged:
        written = cell_at(sheet.rows, top, left)
        if written is not None:
            for row in range(top + 1, min(bottom + 1, len(sheet.rows))):
                yield row, left, written


def spread_across(sheet: Sheet) -> Mapping[tuple[int, int], str]:
    """Return the text of every cell that a merged range covers, by row and column from 0."""
    covered = {}
    for (top, left), (bottom, right) in sheet.merged:
        written = cell_at(sheet.rows, top, left)
        if written is not None and bottom - top < 10:  # no head is higher
            for row in range(top, bottom + 1):
                covered.update({(row, column): written for column in range(left, right + 1)})
    return covered


def cell_at(rows: Sequence[Sequence[str | None]], row: int, column: int) -> str | None:
    """Return the cell at a row and column, both from 0; nothing where there is none."""
    there = row < len(rows) and column < len(rows[row])
    return rows[row][column] if there else None
