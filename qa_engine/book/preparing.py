"""Frames of records made ready to be added: checked, and their digests reckoned."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from qa_engine.book.canonical import Submission, digests_of
from qa_engine.errors import BookError
from qa_engine.records import KINDS

ENTERED_AT = "entered_at"
"""A column that a book adds to what it gives; it takes none in."""

SHOWN = 3


@dataclass(frozen=True)
class Batch:
    """Entries of one kind, ready to be written.

    Attributes:
        frame: the records, a row per entry.
        digests: their digests.
        supersedes: the entries that they correct, or None if they correct none.
        reason: why.
    """

    kind: str
    frame: pl.DataFrame
    digests: list[bytes]
    supersedes: pl.Series | None = None
    reason: str | None = None


def batch_of(
    kind: str, frame: pl.DataFrame, submission: Submission, supersedes: pl.Series | None = None
) -> Batch:
    """Return records of one kind ready to be written, as new ones or as corrections."""
    reason = None if supersedes is None else submission.reason
    digests = digests_of(frame, kind, submission, supersedes=supersedes, reasons=reason)
    return Batch(kind, frame, digests, supersedes, reason)


def checked(frames: Mapping[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """Return frames as a book takes them, in the order of kinds.

    Raises:
        BookError: they are not as the intake gives them: an unknown kind or column, a type that
            is not the declared one, a missing value that is required, a number that is none, or
            an id twice.
    """
    if unknown := [kind for kind in frames if kind not in KINDS]:
        raise BookError(f"there is no kind of record '{unknown[0]}'; known are {', '.join(KINDS)}")
    found = {kind: _checked(kind, frames[kind]) for kind in KINDS if kind in frames}
    found = {kind: frame for kind, frame in found.items() if frame.height}
    _check_ids(found)
    return found


def _checked(kind: str, frame: pl.DataFrame) -> pl.DataFrame:
    frame = frame.drop("kind", ENTERED_AT, strict=False)
    fields = KINDS[kind].fields
    for name, dtype in frame.schema.items():
        if name not in fields:
            raise BookError(f"a {kind} has no column '{name}'")
        if dtype != fields[name].dtype:
            raise BookError(f"{kind}.{name} is {dtype} and should be {fields[name].dtype}")
    for name, field in fields.items():
        if name == "kind" or not field.required:
            continue
        if name not in frame.columns or frame[name].null_count():
            raise BookError(f"a {kind} lacks its {name}, which every {kind} has")
    _check_numbers(kind, frame)
    return frame


def _check_numbers(kind: str, frame: pl.DataFrame) -> None:
    numbers = frame.select(pl.col(pl.Float64).is_finite().all())
    for name, finite in zip(numbers.columns, numbers.row(0) if numbers.width else (), strict=True):
        if not finite:
            raise BookError(f"{kind}.{name} holds what is no number; leave it empty where unknown")


def _check_ids(frames: Mapping[str, pl.DataFrame]) -> None:
    hashes = [frame["record"].hash() for frame in frames.values()]
    every = pl.concat(hashes) if hashes else pl.Series(dtype=pl.UInt64)
    if every.n_unique() == len(every):
        return
    counted = Counter(record for frame in frames.values() for record in frame["record"].to_list())
    if twice := [record for record, count in counted.items() if count > 1]:
        more = f" and {len(twice) - SHOWN} more" if len(twice) > SHOWN else ""
        raise BookError(f"handed in twice at once: {', '.join(twice[:SHOWN])}{more}")
