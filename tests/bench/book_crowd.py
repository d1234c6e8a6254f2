"""Lets many programs add to one record book at once and looks whether all of it is there.

``.venv/bin/python tests/bench/book_crowd.py [--programs N] [--seconds S] [--only NAME]``. Every
program adds records of its own one by one, without a pause; each fifth submission is one that
another program hands in too, under the same key. Prints how many were added, how long one took,
and how evenly the programs got their turn.
"""

import argparse
import multiprocessing
import tempfile
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from book_crash import BEGAN, made, records
from databases import database, postgresql
from sqlalchemy import select

from qa_engine.book import open_book
from qa_engine.book.schema import entries, submissions
from qa_engine.book.verify import verify
from qa_engine.errors import BookError

SHARED_EACH = 5
OWN = 1_000_000
"""How far the numbers of the programs' own records lie apart."""


@dataclass(frozen=True)
class Turn:
    """What one program saw: the keys it was acknowledged, how long each took, what went wrong."""

    keys: tuple[str, ...]
    took_ms: tuple[float, ...]
    complaints: tuple[str, ...]


def add_for(url: str, program: int, seconds: float, start: float) -> Turn:
    """Add records as fast as the book takes them, for so long."""
    keys, took_ms, complaints = [], [], []
    with open_book(url) as book:
        while time.time() < start:
            time.sleep(0.001)
        number = 0
        while (began := time.time()) < start + seconds:
            number += 1
            shared = number % SHARED_EACH == 0
            key = f"shared {number}" if shared else f"{program} {number}"
            record = number if shared else OWN * (program + 1) + number
            try:
                book.add(records(record, 1), key=key, entered_at=BEGAN, entered_by="P1")
            except BookError as error:
                complaints.append(str(error))
                continue
            keys.append(key)
            took_ms.append((time.time() - began) * 1e3)
    return Turn(tuple(keys), tuple(took_ms), tuple(complaints))


@dataclass(frozen=True)
class Crowd:
    """What became of a book that many wrote to.

    Attributes:
        added: how many submissions it has, without that of its making.
        lost: acknowledged ones that it lacks.
        doubled: records that it has twice, and numbers that lack or come twice.
        breaches: what verifying it found.
        complaints: what users were told.
        turns: how many submissions each program was acknowledged.
        p50_ms, p99_ms, longest_ms: how long one took.
    """

    added: int
    lost: int
    doubled: int
    breaches: int
    complaints: tuple[str, ...]
    turns: tuple[int, ...]
    p50_ms: float
    p99_ms: float
    longest_ms: float

    @property
    def good(self) -> bool:
        """Return whether nothing was lost, doubled or complained of."""
        return not (self.lost or self.doubled or self.breaches or self.complaints)


def crowd(url: str, programs: int, seconds: float) -> Crowd:
    """Let programs add at once, and return what became of it."""
    made(url)
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["book_crowd"])
    with context.Pool(programs) as pool:
        pool.map(_warmed, range(programs), chunksize=1)
        start = time.time() + 0.2
        asked = [(url, number, seconds, start) for number in range(programs)]
        turns = pool.starmap(add_for, asked, chunksize=1)
    return _seen(url, turns)


def _warmed(number: int) -> int:
    time.sleep(0.05)
    return records(number, 1)["rinse" if number % 3 == 0 else "reading"].height


def _seen(url: str, turns: Iterable[Turn]) -> Crowd:
    turns = list(turns)
    with open_book(url) as book:
        with book.reading() as held:
            kept = held.execute(select(submissions.c.key)).scalars().all()
            numbered = held.execute(select(entries.c.entry).order_by(entries.c.entry)).scalars()
            ids = held.execute(select(entries.c.id)).scalars().all()
            gaps = list(numbered) != list(range(1, len(ids) + 1))
        breaches = len(list(verify(book)))
    acknowledged = {key for turn in turns for key in turn.keys}
    took = np.array([ms for turn in turns for ms in turn.took_ms])
    return Crowd(
        added=len(kept) - 1,
        lost=len(acknowledged - set(kept)),
        doubled=len(ids) - len(set(ids)) + len(kept) - len(set(kept)) + gaps,
        breaches=breaches,
        complaints=tuple(one for turn in turns for one in turn.complaints),
        turns=tuple(len(turn.keys) for turn in turns),
        p50_ms=float(np.quantile(took, 0.5).round(1)),
        p99_ms=float(np.quantile(took, 0.99).round(1)),
        longest_ms=float(took.max().round(1)),
    )


def main() -> None:
    """Let programs add to a book on each database and print what was seen."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--programs", type=int, default=8)
    parser.add_argument("--seconds", type=float, default=30)
    parser.add_argument("--only", choices=("sqlite", "postgresql"))
    asked = parser.parse_args()
    good = True
    if asked.only != "postgresql":
        with tempfile.TemporaryDirectory() as folder:
            found = crowd(str(Path(folder) / "crowd.book"), asked.programs, asked.seconds)
        good &= found.good
        print(f"sqlite: {found}", flush=True)
    if asked.only != "sqlite":
        with postgresql() as server, database(server) as url:
            found = crowd(url, asked.programs, asked.seconds)
        good &= found.good
        print(f"postgresql: {found}", flush=True)
    raise SystemExit(0 if good else 1)


if __name__ == "__main__":
    main()
