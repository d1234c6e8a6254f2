"""Records whose id came more than once: the same each time, or in conflict."""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

import polars as pl

from qa_engine.fields import shown
from qa_engine.intake.batch import LINE
from qa_engine.intake.refused import Refused

FILE = "number of the file"
"""The column that says which file a row came from; no field has a space in its name."""

NAMED_OTHERS = 3
_PLACE = ["record", FILE, LINE]


class Settled(NamedTuple):
    """Frames in which every id stands once.

    Attributes:
        frames: the frames of each kind.
        refused: the rows whose id another, different row has.
        repeated: how many rows only said again what another row had said.
    """

    frames: dict[str, pl.DataFrame]
    refused: list[Refused]
    repeated: int


def settle_repeats(frames: Mapping[str, pl.DataFrame], files: Sequence[str]) -> Settled:
    """Keep identical rows of one id once and refuse all rows of one id that differ.

    Args:
        frames: a typed frame per kind, with ``LINE`` and ``FILE``.
        files: the names of the files, by their number.
    """
    suspects = _suspects(frames)
    if not suspects:
        return Settled(dict(frames), [], 0)
    rows = pl.concat(frame.select(_PLACE) for frame in suspects.values()).sort(_PLACE)
    rows = rows.join(_counts(suspects), on="record", maintain_order="left")
    differing = rows.filter(pl.col("variants") > 1)
    again = rows.filter((pl.col("variants") == 1) & ~pl.col("record").is_first_distinct())
    gone = pl.concat([differing, again]).select(FILE, LINE)
    kept = {
        kind: frame.join(gone, on=[FILE, LINE], how="anti", maintain_order="left")
        for kind, frame in frames.items()
    }
    return Settled(kept, list(_refusals(differing, files)), again.height)


def _suspects(frames: Mapping[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """Return the rows whose id may stand elsewhere too; a hash tells at little cost."""
    hashes = {kind: frame["record"].hash() for kind, frame in frames.items()}
    every = pl.concat(hashes.values()) if hashes else pl.Series(dtype=pl.UInt64)
    if every.n_unique() == len(every):
        return {}
    shared = every.filter(every.is_duplicated()).unique().implode()
    return {kind: frames[kind].filter(hashes[kind].is_in(shared)) for kind in frames}


def _counts(frames: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """Return how many different rows have each id; rows of two kinds always differ."""
    variants = pl.concat(frame.drop(FILE, LINE).unique()["record"] for frame in frames.values())
    return variants.value_counts(name="variants")


def _refusals(rows: pl.DataFrame, files: Sequence[str]) -> Iterator[Refused]:
    places = pl.struct(FILE, LINE)
    grouped = rows.group_by("record", maintain_order=True).agg(
        places.head(NAMED_OTHERS + 1).alias("first"), pl.len().alias("rows")
    )
    for record, file, line, _, first, count in rows.join(
        grouped, on="record", maintain_order="left"
    ).iter_rows():
        others = [f"{files[at[FILE]]}:{at[LINE]}" for at in first if at != {FILE: file, LINE: line}]
        named = ", ".join(others[:NAMED_OTHERS])
        more = count - 1 - len(others[:NAMED_OTHERS])
        also = f"{named} and {more} more" if more else named
        expected = f"an id that no other record has (a different record has it too: {also})"
        yield Refused(files[file], line, shown(record), "record", shown(record), expected)
