"""Records that come in against those that a book has: new, the same, or different."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import polars as pl
from sqlalchemy import Connection, select

from qa_engine.book.rows import fetch
from qa_engine.book.schema import RECORD_TABLES, entries
from qa_engine.book.submission import Conflict
from qa_engine.records import KINDS

IDS_AT_ONCE = 5_000
ENTRY, KEPT_KIND, FIELDS = "the entry kept", "the kind kept", "the fields that differ"
"""Names that no column of a record can have, since they hold a space."""


@dataclass(frozen=True)
class Compared:
    """Records, by what the book has under their ids.

    Attributes:
        new: those whose id the book does not have.
        repeated: how many the book has word for word.
        differing: those that the book has otherwise, with ``ENTRY`` and ``FIELDS``.
    """

    new: Mapping[str, pl.DataFrame]
    repeated: int
    differing: Mapping[str, pl.DataFrame]

    def conflicts(self) -> tuple[Conflict, ...]:
        """Return the differing ones, told one by one."""
        return tuple(
            Conflict(record, kind, tuple(fields), entry)
            for kind, frame in self.differing.items()
            for record, fields, entry in frame.select("record", FIELDS, ENTRY).iter_rows()
        )


def compared(connection: Connection, frames: Mapping[str, pl.DataFrame]) -> Compared:
    """Compare records with the latest versions that the book has of them."""
    new: dict[str, pl.DataFrame] = {}
    differing: dict[str, pl.DataFrame] = {}
    repeated = 0
    for kind, frame in frames.items():
        held = latest(connection, frame["record"])
        if held.is_empty():
            new[kind] = frame
            continue
        new[kind] = frame.join(held, on="record", how="anti", maintain_order="left")
        met = frame.join(held, on="record", maintain_order="left")
        differing[kind] = _differing(connection, kind, met)
        repeated += met.height - differing[kind].height
    return Compared(_filled(new), repeated, _filled(differing))


def _filled(frames: Mapping[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    return {kind: frame for kind, frame in frames.items() if frame.height}


def latest(connection: Connection, records: pl.Series) -> pl.DataFrame:
    """Return the latest entry of each record that the book has: record, ``ENTRY``, its kind."""
    schema = {"record": pl.String(), ENTRY: pl.Int64(), KEPT_KIND: pl.String()}
    is_record = entries.c.kind.in_(KINDS)
    parts = [pl.DataFrame(schema=schema)]
    if connection.execute(select(entries.c.entry).where(is_record).limit(1)).first() is None:
        return parts[0]
    for start in range(0, len(records), IDS_AT_ONCE):
        ids = records[start : start + IDS_AT_ONCE].to_list()
        query = select(entries.c.id, entries.c.entry, entries.c.kind)
        parts.append(fetch(connection, query.where(entries.c.id.in_(ids), is_record), schema))
    found = pl.concat(parts).sort(ENTRY)
    return found.unique("record", keep="last", maintain_order=True)


def _differing(connection: Connection, kind: str, met: pl.DataFrame) -> pl.DataFrame:
    """Return those records that say something else than the book, with the fields that differ."""
    fields = [name for name in KINDS[kind].fields if name not in ("kind", "record")]
    kept = _kept(connection, kind, met.filter(pl.col(KEPT_KIND) == kind)[ENTRY])
    beside = met.join(kept, on=ENTRY, how="left", maintain_order="left")
    unlike = [
        pl.when(_unlike(name, met.columns)).then(pl.lit(name)).alias(f"{name} differs")
        for name in fields
    ]
    found = pl.concat_list(unlike).list.drop_nulls()
    of_other_kind = pl.col(KEPT_KIND) != kind
    told = pl.when(of_other_kind).then(pl.lit(["kind"])).otherwise(found).alias(FIELDS)
    differing = beside.with_columns(told).filter(pl.col(FIELDS).list.len() > 0)
    return differing.select(*met.columns, FIELDS).drop(KEPT_KIND)


def _unlike(name: str, given: Collection[str]) -> pl.Expr:
    kept = pl.col(_as_kept(name))
    return pl.col(name).ne_missing(kept) if name in given else kept.is_not_null()


def _as_kept(name: str) -> str:
    return f"{name} kept"


def _kept(connection: Connection, kind: str, numbers: pl.Series) -> pl.DataFrame:
    """Return the stored rows of some entries of a kind."""
    table = RECORD_TABLES[kind]
    names = [column.name for column in table.columns][1:]
    types = {_as_kept(name): KINDS[kind].fields[name].dtype for name in names}
    schema = {ENTRY: pl.Int64(), **types}
    parts = [pl.DataFrame(schema=schema)]
    for start in range(0, len(numbers), IDS_AT_ONCE):
        some = numbers[start : start + IDS_AT_ONCE].to_list()
        parts.append(fetch(connection, select(table).where(table.c.entry.in_(some)), schema))
    return pl.concat(parts)
