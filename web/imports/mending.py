"""Refused rows that the book keeps: to be mended, to be left out, or to be taken away as a file."""

import hashlib
import io
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import groupby, islice
from typing import Any

import polars as pl

from qa_engine.book import Book
from qa_engine.book.refusals import refused_rows
from qa_engine.fields import Quantity, Word, YesNo
from qa_engine.intake import Intake, WrittenFile, place_of, read_records
from qa_engine.intake.heads import REFUSED_BECAUSE, REFUSED_IN, REFUSED_LINE
from qa_engine.intake.refused import harmless
from qa_engine.records import KINDS, RECORD_FIELDS

ROWS_SHOWN = 25
_PROBLEMS_READ = 500
WITHOUT_UNIT = ("1", "count")
_TELLS = ("key", "source", "line", "record")
CELL = "cell-"
"""Stands before the name of a field in a form."""


@dataclass(frozen=True)
class Cell:
    """A cell of a refused row.

    Attributes:
        field: that it fills.
        written: what is written in it.
        unit: that of a number which states none; empty if it is no measured number.
        words: what may be written; anything if there are none.
        wrong: what is wrong with it; empty if nothing is.
    """

    field: str
    written: str
    unit: str
    words: tuple[str, ...]
    wrong: str


@dataclass(frozen=True)
class RefusedRow:
    """A refused row.

    Attributes:
        key, source, line, record: tell it from all others.
        places: where its problems stand, and what each is.
        wrong: what is wrong, by field.
        cells: what it says, by field; nothing where it could not be split into cells.
    """

    key: str
    source: str
    line: int
    record: str | None
    places: tuple[tuple[str, str], ...]
    wrong: Mapping[str, str]
    cells: Mapping[str, str]

    @property
    def told(self) -> tuple[str, str, int, str | None]:
        """What tells it from all others."""
        return self.key, self.source, self.line, self.record

    @property
    def fields(self) -> list[Cell]:
        """Its cells in the order of fields, with those that are wrong for being empty."""
        return [
            Cell(
                name,
                self.cells.get(name, ""),
                _unit(name),
                _words(name),
                self.wrong.get(name, ""),
            )
            for name in RECORD_FIELDS
            if self.cells and (name in self.cells or name in self.wrong)
        ]


def rows_kept(book: Book) -> list[RefusedRow]:
    """Return the first refused rows that a book keeps."""
    problems = refused_rows(book, first=_PROBLEMS_READ).iter_rows(named=True)
    groups = groupby(problems, lambda one: tuple(one[name] for name in _TELLS))
    return [_row(list(found)) for _, found in islice(groups, ROWS_SHOWN)]


def row_kept(book: Book, key: str, source: str, line: int, record: str | None) -> RefusedRow | None:
    """Return one refused row, if a book keeps it."""
    place = zip(_TELLS, (key, source, line, record), strict=True)
    kept = refused_rows(book).filter(pl.col(name).eq_missing(said) for name, said in place)
    return _row(kept.to_dicts()) if kept.height else None


def _row(problems: list[dict[str, Any]]) -> RefusedRow:
    cells = json.loads(problems[0]["cells"] or "{}")
    return RefusedRow(
        key=problems[0]["key"],
        source=problems[0]["source"],
        line=problems[0]["line"],
        record=problems[0]["record"],
        places=tuple((place_of(one), _said(one)) for one in problems),
        wrong={one["field"]: one["expected"] for one in problems if one["field"]},
        cells={name: str(cell) for name, cell in cells.items() if name in RECORD_FIELDS},
    )


def _said(problem: Mapping[str, str]) -> str:
    about = f"{problem['field']}: " if problem["field"] else ""
    written = f"'{problem['written']}' " if problem["written"] else ""
    return f"{about}{written}{problem['expected']}"


def _unit(name: str) -> str:
    one = RECORD_FIELDS[name]
    return one.unit if isinstance(one, Quantity) and one.unit not in WITHOUT_UNIT else ""


def _words(name: str) -> tuple[str, ...]:
    if name == "kind":
        return tuple(KINDS)
    one = RECORD_FIELDS[name]
    if isinstance(one, YesNo):
        return ("yes", "no")
    return tuple(one.words) if isinstance(one, Word) else ()


def mended(row: RefusedRow, typed: Mapping[str, str]) -> RefusedRow:
    """Return a row with what was typed into its form."""
    told = {name.removeprefix(CELL): said for name, said in typed.items() if name.startswith(CELL)}
    cells = {name: told.get(name, "").strip() for name in RECORD_FIELDS if name in told}
    return replace(row, cells=cells)


def judged(row: RefusedRow, time_zone: str) -> Intake:
    """Return what the intake, the door of all records, makes of a mended row."""
    cells = {name: cell for name, cell in row.cells.items() if cell}
    cells.setdefault("record", f"mended-{key_of(row)[:20]}")
    content = pl.DataFrame([cells], schema=dict.fromkeys(cells, pl.String())).write_csv()
    return read_records([WrittenFile("mended.csv", content.encode())], time_zone=time_zone)


def key_of(row: RefusedRow) -> str:
    """Return the key under which a mended row comes in: the same mending twice has the same."""
    said = [row.key, row.source, row.line, row.record, dict(row.cells)]
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def still_wrong(row: RefusedRow, intake: Intake) -> RefusedRow:
    """Return a row with what is wrong with it after mending."""
    problems = intake.refused.to_dicts()
    places = tuple((row.places[0][0], _said(one)) for one in problems)
    wrong = {one["field"]: one["expected"] for one in problems if one["field"]}
    return replace(row, places=places, wrong=wrong)


def as_csv(book: Book) -> bytes:
    """Return all refused rows as a CSV file that is mended in a spreadsheet and handed in again.

    No cell of it is run as a formula.
    """
    rows = list(_to_mend(refused_rows(book)))
    filled = [name for name in RECORD_FIELDS if any(name in row for row in rows)]
    names = [REFUSED_IN, REFUSED_LINE, REFUSED_BECAUSE, *filled]
    frame = pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String()))
    out = io.BytesIO()
    frame.select(harmless(name) for name in names).write_csv(out)
    return out.getvalue()


def _to_mend(kept: pl.DataFrame) -> Iterator[dict[str, str]]:
    for _, problems in kept.group_by(_TELLS, maintain_order=True):
        row = _row(problems.to_dicts())
        because = "; ".join(said for _, said in row.places)
        about = {REFUSED_IN: row.source, REFUSED_LINE: str(row.line), REFUSED_BECAUSE: because}
        yield about | dict(row.cells)
