"""Files of records, read into one typed frame per kind."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import polars as pl
from marshmallow import Schema, ValidationError

from qa_engine.errors import IntakeError
from qa_engine.fields import Instant, TimeZone, Word
from qa_engine.intake.batch import LINE, Batch
from qa_engine.intake.csv_lines import csv_batches
from qa_engine.intake.exact import load_exactly
from qa_engine.intake.json_lines import json_batches
from qa_engine.intake.parquet_rows import parquet_batches
from qa_engine.intake.refused import Refused, as_written, expectation, refused_frame
from qa_engine.intake.repeats import FILE, settle_repeats
from qa_engine.intake.screen import sift
from qa_engine.intake.written_file import WrittenFile
from qa_engine.records import KINDS

_READERS = {
    ".csv": csv_batches,
    ".jsonl": json_batches,
    ".ndjson": json_batches,
    ".parquet": parquet_batches,
}
_KIND = Word(*KINDS, required=True)


@dataclass(frozen=True)
class Intake:
    """What came of files of records: ``read == accepted + refused_rows + repeated``.

    Attributes:
        frames: a typed frame per kind that occurs, with the columns that are filled.
        refused: a row per problem: source, line, record, field, written, expected.
        read: how many rows the files had.
        accepted: how many are in ``frames``.
        refused_rows: how many rows were refused.
        repeated: how many rows only said again, under the same id, what an accepted row says.
        notes: what else the caller should be told, each a sentence.
    """

    frames: Mapping[str, pl.DataFrame]
    refused: pl.DataFrame
    read: int
    accepted: int
    refused_rows: int
    repeated: int
    notes: tuple[str, ...]


def read_records(files: Sequence[Path | WrittenFile], *, time_zone: str | None = None) -> Intake:
    """Read files of records; rows that cannot be taken are refused, each with its reason.

    Args:
        files: CSV, JSON Lines or Parquet files, told apart by their suffix.
        time_zone: the zone of local times; without it a time without offset is refused.

    Raises:
        IntakeError: a file cannot be read at all, has an unknown column, or the time zone is
            unknown.
    """
    desk = _Desk(_schemas(time_zone))
    written = [WrittenFile.of(file) for file in files]
    for number, file in enumerate(written):
        for batch in _batches(file):
            desk.take(batch, file.name, number)
    return desk.intake([file.name for file in written])


def _schemas(time_zone: str | None) -> dict[str, Schema]:
    """Return the schema of each kind, told in which zone local times are."""
    if time_zone is not None:
        try:
            TimeZone().deserialize(time_zone)
        except ValidationError as error:
            raise IntakeError(f"the time zone {error.messages[0]}") from None
    schemas: dict[str, Schema] = {kind.name: kind.schema() for kind in KINDS.values()}
    for schema in schemas.values():
        for one in schema.fields.values():
            if isinstance(one, Instant):
                one.time_zone = time_zone
    return schemas


def _batches(file: WrittenFile) -> Iterator[Batch]:
    if file.suffix not in _READERS:
        known = ", ".join(_READERS)
        raise IntakeError(f"{file.name}: the name should end in one of {known}")
    with file.open() as stream:
        yield from _READERS[file.suffix](file.name, stream)


@dataclass
class _Desk:
    """Where batches are judged and what came of them is gathered."""

    schemas: Mapping[str, Schema]
    frames: dict[str, list[pl.DataFrame]] = field(default_factory=dict)
    refused: list[Refused] = field(default_factory=list)
    unmeasured: Counter[tuple[str, str]] = field(default_factory=Counter)
    read: int = 0
    refused_rows: int = 0

    def take(self, batch: Batch, name: str, number: int) -> None:
        """Judge the rows of a batch."""
        self.read += batch.cells.height + batch.refused_rows
        self.refused += batch.refused
        self.refused_rows += batch.refused_rows
        for kind, cells in _by_kind(batch.cells):
            if kind is None:
                self._refuse_kinds(cells, name)
            else:
                self._take_kind(kind, cells, batch.units, name, number)

    def _take_kind(
        self, kind: str, cells: pl.DataFrame, units: Mapping[str, str], name: str, number: int
    ) -> None:
        sifted = sift(self.schemas[kind], cells, units)
        self.unmeasured.update({(name, one): n for one, n in sifted.unmeasured.items()})
        taken, refused = load_exactly(self.schemas[kind], name, sifted.left, units)
        self.refused += refused
        self.refused_rows += sifted.left.height - taken.height
        mark = pl.lit(number, pl.UInt32).alias(FILE)
        self.frames.setdefault(kind, []).extend(
            frame.with_columns(mark) for frame in (sifted.passed, taken) if frame.height
        )

    def _refuse_kinds(self, cells: pl.DataFrame, name: str) -> None:
        self.refused_rows += cells.height
        for row in cells.iter_rows(named=True):
            expected = _refusal_of_kind(row.get("kind"))
            record, kind = as_written(row.get("record")), as_written(row.get("kind"))
            self.refused.append(Refused(name, row[LINE], record or None, "kind", kind, expected))

    def intake(self, names: Sequence[str]) -> Intake:
        """Settle which ids stand once and return what came of all batches."""
        gathered = {k: pl.concat(f, how="diagonal") for k, f in _let_go(self.frames) if f}
        settled = settle_repeats(gathered, names)
        gathered.clear()
        frames = {k: _in_history(k, f) for k, f in _let_go(settled.frames) if f.height}
        return Intake(
            frames=frames,
            refused=refused_frame(_in_order([*self.refused, *settled.refused], names)),
            read=self.read,
            accepted=sum(frame.height for frame in frames.values()),
            refused_rows=self.refused_rows + len(settled.refused),
            repeated=settled.repeated,
            notes=tuple(self._notes(settled.repeated)),
        )

    def _notes(self, repeated: int) -> Iterator[str]:
        for (name, one), count in self.unmeasured.items():
            cells = "1 cell holds" if count == 1 else f"{count} cells hold"
            yield f"{name}: {cells} NaN or infinity in '{one}'; that counts as missing"
        if repeated:
            rows = "1 row says" if repeated == 1 else f"{repeated} rows say"
            yield f"{rows} again what another row with the same id says; each record is kept once"


def _let_go(by_kind: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Yield what is kept for each kind and keep it no longer, so memory is not held twice."""
    for kind in KINDS:
        if kind in by_kind:
            yield kind, by_kind.pop(kind)


def _in_history(kind: str, frame: pl.DataFrame) -> pl.DataFrame:
    """Return records as a history has them, column by column, each let go of once it is sorted."""
    keys = frame.select(KINDS[kind].item, "at", "record").rechunk()
    order = keys.select(pl.arg_sort_by(keys.columns)).to_series()
    names = [name for name in frame.columns if name not in (FILE, LINE)]
    return pl.DataFrame([frame.drop_in_place(name).rechunk().gather(order) for name in names])


def _in_order(refused: list[Refused], names: Sequence[str]) -> list[Refused]:
    """Return refusals in the order of the files and of the lines in them."""
    place = {name: number for number, name in reversed(list(enumerate(names)))}
    return sorted(refused, key=lambda row: (place[row.source], row.line))


def _by_kind(cells: pl.DataFrame) -> Iterator[tuple[str | None, pl.DataFrame]]:
    """Yield the rows of each kind that occurs, and under no name those of no known kind."""
    if "kind" not in cells.columns:
        cells = cells.with_columns(pl.lit(None, pl.String).alias("kind"))
    cells = cells.rechunk()  # or each filter below would align the chunks of all columns again
    written = cells["kind"].unique().to_list()
    if len(written) == 1 and written[0] in KINDS:
        yield written[0], cells
        return
    for kind in KINDS:
        if kind in written:
            mine = cells["kind"] == kind
            yield kind, _filled_in(cells, mine).filter(mine)
    unknown = cells.filter(~pl.col("kind").is_in(list(KINDS)).fill_null(False))
    if unknown.height:
        yield None, unknown


def _filled_in(cells: pl.DataFrame, rows: pl.Series) -> pl.DataFrame:
    """Return the columns that hold anything in some rows; most hold nothing for most kinds."""
    filled = cells.select((pl.all().is_not_null() & rows).any()).row(0)
    return cells.select(name for name, any_ in zip(cells.columns, filled, strict=True) if any_)


def _refusal_of_kind(written: Any) -> str:
    try:
        _KIND.deserialize(written)
    except ValidationError as error:
        return expectation(error.messages[0])
    raise AssertionError(f"'{written}' is a kind")
