"""Rows of workbooks whose sheets have our names as column heads in their first row."""

from collections.abc import Iterator
from dataclasses import replace
from typing import BinaryIO

from qa_engine.errors import IntakeError
from qa_engine.intake.batch import Batch, text_batch
from qa_engine.intake.heads import Head, read_record_heads, units_of
from qa_engine.intake.refused import Refused, as_written, sheet_name
from qa_engine.intake.workbook import TYPED, Sheet, letters, read_workbook


def workbook_batches(name: str, stream: BinaryIO) -> Iterator[Batch]:
    """Yield the rows of each sheet of a workbook of records; blank rows are no rows.

    Raises:
        IntakeError: it is no workbook, or a sheet has a column that no record has.
    """
    for sheet in read_workbook(name, stream):
        place = sheet_name(name, sheet.name)
        written = [(cell or "").removeprefix(TYPED) for cell in sheet.rows[0]]
        while written and not written[-1]:
            written.pop()
        try:
            heads = read_record_heads(place, written)
        except IntakeError as error:
            raise IntakeError(f"{error}\n{_needs_a_map(name)}") from None
        yield _batch(name, sheet, heads)


def _needs_a_map(name: str) -> str:
    return (
        f"{name}: a sheet whose columns bear other names is read with a column map (--map); "
        f"'qa-engine book add --propose-map {name}' writes a first one"
    )


def _batch(name: str, sheet: Sheet, heads: tuple[Head, ...]) -> Batch:
    names = [head.name for head in heads]
    rows, lines, refused = [], [], []
    for line, row in enumerate(sheet.rows[1:], 2):
        if any(row[len(names) :]):
            refused.append(_too_long(sheet_name(name, sheet.name), line, row, len(names)))
        elif any(row):
            cells = [None if cell is None else cell.removeprefix(TYPED) for cell in row]
            rows.append((cells + [None] * len(names))[: len(names)])
            lines.append(line)

    def tell(refused: Refused) -> Refused:
        if refused.field not in names:
            return refused
        return refused._replace(cell=f"{letters(names.index(refused.field))}{refused.line}")

    batch = text_batch(rows, lines, names, units_of(heads))
    return replace(batch, refused=tuple(refused), sheet=sheet.name, tell=tell)


def _too_long(source: str, line: int, row: list[str | None], heads: int) -> Refused:
    place = next(place for place in range(heads, len(row)) if row[place])
    written = as_written((row[place] or "").removeprefix(TYPED))
    expected = "an empty cell (its column has no head)"
    return Refused(source, line, None, None, written, expected, f"{letters(place)}{line}")
