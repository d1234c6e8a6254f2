"""Refused input: what could not be taken, kept with its reason."""

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import NamedTuple

import polars as pl

from qa_engine.errors import IntakeError
from qa_engine.fields import NUMBER, Refusal, shown

LONGEST_WRITTEN = 500
CELL = r"[A-Z]{1,3}[1-9][0-9]*"
"""What the address of a cell in a sheet looks like."""


class Refused(NamedTuple):
    """One problem of one row.

    Attributes:
        source: the file.
        line: the first line of the row; in Parquet, the number of the row.
        record: the id of the record, if the row has one.
        field: the field that is wrong, if it is one.
        written: what was written there; characters that steer a screen are written out.
        expected: what is wrong, and what would do.
        cell: in a sheet the cell, such as D17; in another table with a column map, the column.
    """

    source: str
    line: int
    record: str | None
    field: str | None
    written: str | None
    expected: str
    cell: str | None = None


REFUSED = pl.Schema(
    {
        "source": pl.String(),
        "line": pl.Int64(),
        "record": pl.String(),
        "field": pl.String(),
        "written": pl.String(),
        "expected": pl.String(),
        "cell": pl.String(),
    }
)
"""The columns of the frame of refused rows, one row per problem."""


def refused_frame(rows: Iterable[Refused]) -> pl.DataFrame:
    """Return problems as a frame with the columns ``REFUSED``."""
    return pl.DataFrame(list(rows), schema=REFUSED, orient="row")


def sheet_name(file: str, sheet: str) -> str:
    """Return what messages call a sheet of a workbook."""
    return f"{file}: Sheet '{sheet}'"


def place_of(row: Mapping[str, object]) -> str:
    """Return where a row of the frame of refused rows stands, as a message says it."""
    source, line, cell = row["source"], row["line"], row["cell"]
    if cell is None:
        return f"{source}:{line}"
    in_sheet = re.fullmatch(CELL, str(cell)) is not None
    return f"{source}!{cell}" if in_sheet else f"{source}:{line}, column '{cell}'"


def as_written(cell: object) -> str | None:
    """Return a cell for the refused file; nothing written gives nothing."""
    return None if cell is None else shown(cell, LONGEST_WRITTEN)


def expectation(message: str) -> str:
    """Return what was wrong with a cell and what would do."""
    return (
        f"{message.why}; expected {message.expected}" if isinstance(message, Refusal) else message
    )


def write_refused(refused: pl.DataFrame, path: Path) -> None:
    """Write refused rows to a CSV file.

    A cell that a spreadsheet would run as a formula (it begins with =, +, -, @, a tab or a line
    break) gets an apostrophe before it; plain numbers such as -3 stay as they are.

    Raises:
        IntakeError: the file cannot be written.
    """
    cells = [harmless(name) if dtype == pl.String else name for name, dtype in REFUSED.items()]
    try:
        refused.select(cells).write_csv(path)
    except OSError as error:
        raise IntakeError(f"cannot be written: {error}") from None


def harmless(name: str) -> pl.Expr:
    """Return a column of text in which no cell is run as a formula by a spreadsheet program."""
    cell = pl.col(name)
    formula = cell.str.contains(r"^[=+\-@\t\r\n]") & ~cell.str.contains(rf"^{NUMBER}$")
    return pl.when(formula).then("'" + cell).otherwise(cell).alias(name)
