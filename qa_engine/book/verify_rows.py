"""Every stored row against the digest that was taken of it when it was entered."""

from collections.abc import Callable, Iterator, Mapping

import polars as pl

from qa_engine.book.breach import Breach
from qa_engine.book.canonical import (
    digests_of_texts,
    entry_texts,
    record_bodies,
    submission_texts,
)
from qa_engine.book.schema import BODY_KINDS, bodies
from qa_engine.book.stretch import DAMAGED, Stretch
from qa_engine.records import KINDS

BODY, NAMED, SUBMITTED, FIT = "the body", "the id of the row", "the submission's text", "it fits"
FOUND = "the digest of what is stored"
ROW_DAMAGED, SUBMISSION_DAMAGED = "the row is damaged", "the submission is damaged"
"""Columns beside those of ``entries``; no table has one with a space in its name."""

Says = Callable[[Mapping[str, object]], str]


def breaches_of_rows(stretch: Stretch) -> Iterator[Breach]:
    """Yield what is wrong with the rows of a stretch, each by itself."""
    rows = beside(stretch)
    yield from _strays(stretch)
    yield from _told(rows.filter(pl.col(BODY).is_null()), _lacking)
    yield from _told(rows.filter(_is_damaged()), lambda _: "holds what its columns cannot hold")
    yield from _told(rows.filter(pl.col("id") != pl.col(NAMED)), _misnamed)
    named = rows.filter((pl.col("id") == pl.col(NAMED)) & ~_is_damaged())
    whole = named.filter(pl.col(BODY).is_not_null() & pl.col(SUBMITTED).is_not_null())
    yield from _changed(reckoned(whole))


def _is_damaged() -> pl.Expr:
    return pl.any_horizontal(DAMAGED, ROW_DAMAGED, SUBMISSION_DAMAGED).fill_null(value=False)


def beside(stretch: Stretch) -> pl.DataFrame:
    """Return the entries with the body and the submission that are stored for each."""
    submitted = stretch.submissions.select(
        "submission",
        pl.col("first_entry", "entries"),
        submission_texts(stretch.submissions).alias(SUBMITTED),
        pl.col(DAMAGED).alias(SUBMISSION_DAMAGED),
    )
    return stretch.entries.join(
        _bodies(stretch), on=["entry", "kind"], how="left", maintain_order="left"
    ).join(submitted, on="submission", how="left", maintain_order="left")


def _bodies(stretch: Stretch) -> pl.DataFrame:
    """Return the body of every row of records and of every other entry."""
    parts = [_records(kind, stretch.rows[kind]) for kind in KINDS]
    others = stretch.entries.filter(pl.col("kind").is_in(BODY_KINDS)).select("entry", "kind", "id")
    held = stretch.rows[bodies.name].select(
        "entry", pl.col("body").alias(BODY), pl.col(DAMAGED).alias(ROW_DAMAGED)
    )
    columns = ["entry", "kind", pl.col("id").alias(NAMED), BODY, ROW_DAMAGED]
    return pl.concat([*parts, others.join(held, on="entry").select(columns)])


def _records(kind: str, rows: pl.DataFrame) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "entry": rows["entry"],
            "kind": pl.repeat(kind, rows.height, dtype=pl.String, eager=True),
            NAMED: rows["record"],
            BODY: record_bodies(rows, kind),
            ROW_DAMAGED: rows[DAMAGED],
        }
    )


def _strays(stretch: Stretch) -> Iterator[Breach]:
    """Yield the rows that stand for an entry which is not there or is of another kind."""
    for kind, rows in stretch.rows.items():
        fits = pl.col("kind").is_in(BODY_KINDS) if kind == bodies.name else pl.col("kind") == kind
        strays = rows.join(stretch.entries.filter(fits), on="entry", how="anti")
        for entry in strays["entry"]:
            name = "a body" if kind == bodies.name else f"a row of {kind}"
            yield Breach(f"{name} was inserted, or its entry was removed or changed", entry)


def _lacking(row: Mapping[str, object]) -> str:
    kind = row["kind"]
    if kind not in KINDS and kind not in BODY_KINDS:
        return "its kind was changed: there is no such kind"
    return "its row was removed, or its kind was changed"


def _misnamed(row: Mapping[str, object]) -> str:
    return f"it was moved, or its id was changed: its row is that of {row[NAMED]}"


def _told(rows: pl.DataFrame, says: Says) -> Iterator[Breach]:
    for row in rows.iter_rows(named=True):
        yield Breach(says(row), row["entry"], kind=row["kind"], id=row["id"])


def reckoned(rows: pl.DataFrame) -> pl.DataFrame:
    """Return the rows of ``beside`` with the digest of what is stored."""
    texts = entry_texts(
        rows["kind"],
        rows["id"],
        rows[BODY],
        rows[SUBMITTED],
        supersedes=rows["supersedes"],
        reasons=rows["reason"],
    )
    found = pl.Series(FOUND, digests_of_texts(texts), pl.Binary)
    return rows.with_columns(found, (rows["digest"] == found).fill_null(value=False).alias(FIT))


def _changed(rows: pl.DataFrame) -> Iterator[Breach]:
    """Yield the rows whose digest is not that of what is stored."""
    wrong = rows.filter(~pl.col(FIT))
    counted = wrong.group_by("submission", maintain_order=True).agg(
        pl.len().alias("wrong"), pl.col("entry").min(), pl.col("entries").first()
    )
    whole = counted.filter((pl.col("wrong") == pl.col("entries")) & (pl.col("wrong") > 1))
    for row in whole.iter_rows(named=True):
        last = row["entry"] + row["entries"] - 1
        yield Breach(_WHOLE.format(**row), row["entry"], last)
    single = wrong.join(whole, on="submission", how="anti", maintain_order="left")
    owners = dict(zip(single["digest"], single["entry"], strict=True))
    yield from _told(single, lambda row: _exchanged(row, owners))


_WHOLE = "how submission {submission} came in (when, by whom, key, source or reason) was changed"


def _exchanged(row: Mapping[str, object], owners: Mapping[bytes, int]) -> str:
    owner = owners.get(row[FOUND])  # type: ignore[call-overload]
    if owner is not None:
        return f"it was moved: what is stored here was entered as entry {owner}"
    return "it was changed: what is stored, or how it came in, does not fit its digest"
