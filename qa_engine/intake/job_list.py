"""Lists of booked jobs: which van rinses how many vehicles of which class on which day.

A list is used whole or not at all: a forecast by half of the jobs would promise too much.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

import polars as pl
from marshmallow import RAISE, Schema

from qa_engine.errors import IntakeError, nearest
from qa_engine.fields import Day, Identifier, Quantity, RecordField
from qa_engine.history import valid_rows
from qa_engine.intake.batch import LINE, Batch, text_batch
from qa_engine.intake.csv_lines import Row, rows_of
from qa_engine.intake.exact import load_exactly
from qa_engine.intake.heads import read_heads, units_of
from qa_engine.intake.json_lines import json_batches
from qa_engine.intake.refused import Refused, as_written
from qa_engine.intake.written_file import WrittenFile
from qa_engine.register import Register, day_start


class BookedJob(Schema):
    """A row of the list: so many vehicles of a class, to be rinsed by a van on a day."""

    class Meta:
        unknown = RAISE

    date = Day(required=True)
    van = Identifier(required=True)
    vehicle_class = Identifier(required=True)
    count = Quantity("count", 1, 10_000, whole=True, required=True)
    job = Identifier()


_SCHEMA = BookedJob()
FIELDS = {name: f for name, f in _SCHEMA.fields.items() if isinstance(f, RecordField)}
NEEDED = tuple(name for name, field in FIELDS.items() if field.required)
COLUMNS = {**{name: field.dtype for name, field in FIELDS.items()}, LINE: pl.UInt32()}
NAMED_IN = {"van": "vans", "vehicle_class": "vehicle_classes"}
"""Fields whose value must be the id of a row of the register, and in which table."""

NO_WATER = (
    "has no water_per_rinse in the register on that day; expected a class whose water is known, "
    "or state it there"
)
ONE_ID = "expected an id of its own for each job, or none"
_Problem = tuple[int, str]


def read_jobs(file: Path | WrittenFile, register: Register) -> pl.DataFrame:
    """Read a list of booked jobs: CSV or JSON Lines, told apart by the suffix.

    Args:
        file: with the columns date, van, vehicle_class, count, and job where jobs have ids.
        register: the vans and vehicle classes that jobs may name.

    Returns:
        A frame of ``date``, ``van``, ``vehicle_class``, ``count``, ``job`` (null where not
        given) and ``litres`` (what the job takes), in the order of the file.

    Raises:
        IntakeError: the list cannot be used as written; every problem is named with its line.
    """
    written = WrittenFile.of(file)
    taken, problems = [pl.DataFrame(schema=COLUMNS)], list[_Problem]()
    for batch in _batches(written):
        rows, refused = load_exactly(_SCHEMA, written.name, batch.cells, batch.units)
        taken.append(rows)
        problems += [(one.line, _unread(one)) for one in batch.refused]
        problems += [(one.line, _wrong(one)) for one in refused]
    jobs = _with_litres(pl.concat(taken, how="diagonal").sort(LINE), register)
    problems += _contradictions(jobs, register)
    if problems:
        lines = (f"{written.name}:{line}: {text}" for line, text in sorted(problems))
        raise IntakeError("\n".join(lines))
    if jobs.is_empty():
        raise IntakeError(f"{written.name}: no job stands in this list; expected a row for each")
    return jobs.drop(LINE)


def _batches(file: WrittenFile) -> Iterator[Batch]:
    if file.suffix not in _READERS:
        known = ", ".join(_READERS)
        raise IntakeError(f"{file.name}: the name should end in one of {known}")
    with file.open() as stream:
        yield from _READERS[file.suffix](file.name, stream)


def _csv_batches(name: str, stream: BinaryIO) -> Iterator[Batch]:
    rows = rows_of(name, stream, 1)
    first = next(rows, Row(1, []))
    if first.wrong:
        raise IntakeError(f"{name}:{first.line}: the column heads: {first.wrong}")
    heads = read_heads(name, first.cells, FIELDS)
    names = [head.name for head in heads]
    if lacking := [one for one in NEEDED if one not in names]:
        told = (f"{name}: there is no column '{one}', which every job needs" for one in lacking)
        raise IntakeError("\n".join(told))
    good, bad = list[Row](), list[Row]()
    for row in rows:
        (bad if row.wrong or len(row.cells) > len(names) else good).append(row)
    padded = [row.cells + [None] * (len(names) - len(row.cells)) for row in good]
    whole = text_batch(padded, [row.line for row in good], names, units_of(heads))
    yield Batch(whole.cells, whole.units, tuple(_unsplit(name, row, len(names)) for row in bad))


def _unsplit(name: str, row: Row, columns: int) -> Refused:
    why = row.wrong or f"the row has {len(row.cells)}"
    written = as_written(",".join(row.cells)) if row.cells else None
    expected = f"{columns} cells, one per column and separated by commas ({why})"
    return Refused(name, row.line, None, None, written, expected)


def _json_batches(name: str, stream: BinaryIO) -> Iterator[Batch]:
    return json_batches(name, stream, FIELDS)


_READERS = {".csv": _csv_batches, ".jsonl": _json_batches, ".ndjson": _json_batches}


def _unread(one: Refused) -> str:
    """Return what is wrong with a row that could not be split into cells."""
    parts = (one.field, f"'{one.written}'" if one.written else None)
    place = " ".join(part for part in parts if part)
    return f"{place}; expected {one.expected}" if place else f"expected {one.expected}"


def _wrong(one: Refused) -> str:
    """Return what is wrong with a cell that its field does not take."""
    missing = one.expected.startswith("missing")
    told = "is" if missing else f"'{one.written}'"
    return f"{one.field} {told} {one.expected}"


def _with_litres(jobs: pl.DataFrame, register: Register) -> pl.DataFrame:
    """Return jobs with the water they take by the class's row that holds on their day."""
    starts = {day: day_start(day, register.zone) for day in jobs["date"].unique()}
    at = pl.Series([starts[day] for day in jobs["date"]], dtype=pl.Datetime("us", "UTC"))
    asked = jobs.select("vehicle_class").with_columns(at.alias("at"))
    water = valid_rows(asked, register, "vehicle_classes", ["water_per_rinse"])
    return jobs.with_columns((pl.col("count") * water["water_per_rinse"]).alias("litres"))


def _contradictions(jobs: pl.DataFrame, register: Register) -> Iterator[_Problem]:
    """Yield what the register does not bear out, and ids that stand twice."""
    known = {name: register.table(table)[name].to_list() for name, table in NAMED_IN.items()}
    begun: dict[str, int] = {}
    for row in jobs.iter_rows(named=True):
        unknown = [name for name in NAMED_IN if row[name] not in known[name]]
        for name in unknown:
            yield row[LINE], _not_registered(name, row[name], known[name])
        if row["litres"] is None and "vehicle_class" not in unknown:
            yield row[LINE], f"vehicle_class '{row['vehicle_class']}' {NO_WATER}"
        first = begun.setdefault(row["job"], row[LINE]) if row["job"] else row[LINE]
        if first < row[LINE]:
            yield row[LINE], f"job '{row['job']}' stands in line {first} too; {ONE_ID}"


def _not_registered(name: str, written: str, known: Sequence[str]) -> str:
    hint = nearest(written, known)
    why = f"is not in the register ({hint})" if hint else "is not in the register"
    return f"{name} '{written}' {why}; expected an id of {NAMED_IN[name]}, or add a row there"
