"""Measure a large record book: digests, verifying, copying, exporting and importing.

    .venv/bin/python tests/bench/book_whole.py [ROWS]

The records are invented, twelve columns each; times are of one run, memory is the peak so far.
"""

import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from qa_engine.book import Submission, create_book
from qa_engine.book.canonical import digests_of
from qa_engine.book.copying import copy_book
from qa_engine.book.export import export_book
from qa_engine.book.export_reading import import_book
from qa_engine.book.merkle import Frontier
from qa_engine.book.verify import verify

BEGAN = datetime(2026, 3, 1, 8, tzinfo=UTC)
ROWS = 1_000_000


def readings(rows: int) -> pl.DataFrame:
    """Return invented readings with twelve columns."""
    number = pl.int_range(0, rows, eager=True)
    return pl.select(
        record=pl.concat_str(pl.lit("R-"), number),
        at=pl.lit(BEGAN) + pl.duration(seconds=number * 60),
        van=pl.concat_str(pl.lit("V-"), number % 50),
        tank=pl.concat_str(pl.lit("T-"), number % 200),
        by=pl.concat_str(pl.lit("p-"), number % 20),
        inlet_tds=200 + (number * 7919 % 3001) / 10,
        outlet_tds=(number % 31).cast(pl.Float64),
        water_temperature=5 + (number * 104729 % 211) / 10,
        meter=pl.concat_str(pl.lit("M-"), number % 30),
        sampled=pl.when(number % 3 > 0).then(pl.lit("flowing")),
        counter=number / 4,
        source=pl.concat_str(pl.lit("S-"), number % 5),
    )


@contextmanager
def timed(what: str) -> Iterator[None]:
    """Print how long something took and the most memory that there was so far."""
    began = time.perf_counter()
    yield
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{what:32} {time.perf_counter() - began:7.2f} s   peak {peak_mb:6.0f} MB", flush=True)


def main(rows: int) -> None:
    """Measure a book of so many readings."""
    print(f"{rows} readings")
    frame, when = readings(rows), {"entered_at": BEGAN, "entered_by": "p-1"}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with timed("digests"):
            digests = digests_of(frame, "reading", Submission("k", BEGAN, "p-1"))
        with timed("tree"):
            Frontier().append(digests)
        path = folder / "one.book"
        with create_book(path, operator="Invented", time_zone="Etc/UTC", **when) as book:
            with timed("added"):
                book.add({"reading": frame}, key="k", **when)
            del frame, digests
            with timed("verified"):
                assert verify(book) == []
            with timed("copied"):
                copy_book(book, folder / "copy.book")
            with timed("exported"):
                export_book(book, folder / "out")
            with timed("imported and verified"):
                import_book(folder / "out", folder / "two.book").close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else ROWS)
