"""The desk where rows are judged: what comes of them goes into one typed frame per kind."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from typing import Any

import polars as pl
from marshmallow import Schema, ValidationError

from qa_engine.errors import IntakeError
from qa_engine.fields import NUMBER, Instant, TimeZone, Word
from qa_engine.intake.batch import LINE, NOT_READ, Batch
from qa_engine.intake.exact import load_exactly
from qa_engine.intake.heads import NOT_RECORDED, REFUSED_IN, REFUSED_LINE
from qa_engine.intake.instants import slow_instants
from qa_engine.intake.refused import (
    Refused,
    as_written,
    expectation,
    refused_frame,
    sheet_name,
)
from qa_engine.intake.repeats import FILE, settle_repeats
from qa_engine.intake.screen import sift
from qa_engine.records import KINDS

_KIND = Word(*KINDS, required=True)


@dataclass(frozen=True)
class Intake:
    """What came of files of records: ``read == accepted + refused_rows + repeated``.

    Attributes:
        frames: a typed frame per kind that occurs, with the columns that are filled.
        refused: a row per problem: source, line, record, field, written, expected, cell.
        read: how many rows the files had.
        accepted: how many are in ``frames``.
        refused_rows: how many rows were refused.
        repeated: how many rows only said again, under the same id, what an accepted row says.
        notes: what else the caller should be told, each a sentence.
        to_mend: the rows that were refused for what their cells say: ``REFUSED_IN``,
            ``REFUSED_LINE`` and the cells as text, in columns named by fields.
    """

    frames: Mapping[str, pl.DataFrame]
    refused: pl.DataFrame
    read: int
    accepted: int
    refused_rows: int
    repeated: int
    notes: tuple[str, ...]
    to_mend: pl.DataFrame = dataclass_field(default_factory=pl.DataFrame)


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


class Desk:
    """Where batches are judged and what came of them is gathered.

    Args:
        time_zone: the zone of local times, for batches that do not name one.

    Raises:
        IntakeError: the time zone is unknown.
    """

    def __init__(self, time_zone: str | None = None) -> None:
        self._time_zone = time_zone
        self._schemas = {time_zone: _schemas(time_zone)}
        self._sources: dict[tuple[int, str | None], str] = {}
        self._frames: dict[str, list[pl.DataFrame]] = {}
        self._refused: list[tuple[int, Refused]] = []
        self._to_mend: list[pl.DataFrame] = []
        self._unmeasured: Counter[tuple[str, str]] = Counter()
        self._notes: list[str] = []
        self._read = 0
        self._refused_rows = 0

    def note(self, text: str) -> None:
        """Keep a sentence that the caller should be told."""
        self._notes.append(text)

    def take(self, batch: Batch, name: str, number: int = 0) -> None:
        """Judge the rows of a batch that came from a file, the so-manieth of the call."""
        place = (number, batch.sheet)
        source = name if batch.sheet is None else sheet_name(name, batch.sheet)
        self._sources.setdefault(place, source)
        at = _At(batch, source, list(self._sources).index(place))
        self._read += batch.cells.height + batch.refused_rows
        self._refuse(at, list(batch.refused), batch.cells.clear())
        self._refused_rows += batch.refused_rows
        for kind, cells in _by_kind(batch.cells.drop(NOT_RECORDED, strict=False)):
            if kind is None:
                self._refuse(at, list(_without_kind(cells, source)), cells)
                self._refused_rows += cells.height
            else:
                self._take_kind(kind, cells, at)

    def _take_kind(self, kind: str, cells: pl.DataFrame, at: "_At") -> None:
        zone = at.batch.time_zone or self._time_zone
        if zone not in self._schemas:
            self._schemas[zone] = _schemas(zone)
        schema, units = self._schemas[zone][kind], at.batch.units
        sifted = sift(schema, cells, units)
        self._unmeasured.update({(at.source, one): n for one, n in sifted.unmeasured.items()})
        taken, refused = load_exactly(schema, at.source, sifted.left, units)
        self._refuse(at, refused, sifted.left.join(taken, on=LINE, how="anti"))
        self._refused_rows += sifted.left.height - taken.height
        mark = pl.lit(at.number, pl.UInt32).alias(FILE)
        self._frames.setdefault(kind, []).extend(
            frame.with_columns(mark) for frame in (sifted.passed, taken) if frame.height
        )

    def _refuse(self, at: "_At", refused: list[Refused], rows: pl.DataFrame) -> None:
        tell = at.batch.tell
        self._refused += [(at.number, tell(one) if tell else one) for one in refused]
        if rows.height:
            zone = at.batch.time_zone or self._time_zone
            self._to_mend.append(mendable(rows, at.source, at.batch.units, zone))

    def intake(self) -> Intake:
        """Settle which ids stand once and return what came of all batches."""
        names = list(self._sources.values())
        gathered = {k: pl.concat(f, how="diagonal") for k, f in _let_go(self._frames) if f}
        settled = settle_repeats(gathered, names)
        gathered.clear()
        frames = {k: _in_history(k, f) for k, f in _let_go(settled.frames) if f.height}
        number = {name: place for place, name in reversed(list(enumerate(names)))}
        refused = self._refused + [(number[one.source], one) for one in settled.refused]
        refused.sort(key=lambda one: (one[0], one[1].line))
        mend = pl.concat(self._to_mend, how="diagonal") if self._to_mend else pl.DataFrame()
        return Intake(
            frames=frames,
            refused=refused_frame(one for _, one in refused),
            read=self._read,
            accepted=sum(frame.height for frame in frames.values()),
            refused_rows=self._refused_rows + len(settled.refused),
            repeated=settled.repeated,
            notes=tuple(self._all_notes(settled.repeated)),
            to_mend=mend,
        )

    def _all_notes(self, repeated: int) -> Iterator[str]:
        yield from self._notes
        for (name, one), count in self._unmeasured.items():
            cells = "1 cell holds" if count == 1 else f"{count} cells hold"
            yield f"{name}: {cells} NaN or infinity in '{one}'; that counts as missing"
        if repeated:
            rows = "1 row says" if repeated == 1 else f"{repeated} rows say"
            yield f"{rows} again what another row with the same id says; each record is kept once"


@dataclass(frozen=True)
class _At:
    """A batch, what messages call its file or sheet, and the number of that."""

    batch: Batch
    source: str
    number: int


def mendable(
    rows: pl.DataFrame, source: str, units: Mapping[str, str], time_zone: str | None
) -> pl.DataFrame:
    """Return refused rows as text with units and offsets, to be written down and mended."""
    if time_zone is not None and rows.schema.get("at") == pl.String:
        told = slow_instants(rows["at"], Instant(time_zone=time_zone))
        written = told.dt.strftime("%Y-%m-%dT%H:%M:%SZ").fill_null(rows["at"])
        rows = rows.with_columns(written.alias("at"))
    return rows.select(
        pl.lit(source).alias(REFUSED_IN),
        pl.col(LINE).cast(pl.Int64).alias(REFUSED_LINE),
        *(_with_unit(name, units.get(name)) for name in rows.columns if name != LINE),
    )


def _with_unit(name: str, unit: str | None) -> pl.Expr:
    cell = pl.col(name).cast(pl.String).str.strip_prefix(NOT_READ)
    if unit is None:
        return cell
    plain = cell.str.strip_chars(" ").str.contains(f"^{NUMBER}$")
    return pl.when(plain).then(cell + f" {unit}").otherwise(cell).alias(name)


def _without_kind(cells: pl.DataFrame, source: str) -> Iterator[Refused]:
    for row in cells.iter_rows(named=True):
        expected = _refusal_of_kind(row.get("kind"))
        record, kind = as_written(row.get("record")), as_written(row.get("kind"))
        yield Refused(source, row[LINE], record or None, "kind", kind, expected)


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
