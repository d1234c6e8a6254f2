"""Kills a program that writes to a record book at random moments and looks what is left.

``.venv/bin/python tests/bench/book_crash.py [--kills N] [--only sqlite|postgresql]``. Two programs
are killed again and again: one adds records one by one, one imports a file part by part. After
each kill every submission that the program knew to be kept must be there, whole, and the book must
verify. In the end both have done their work, and their books must have the root of a book that
nobody disturbed. This shows what the death of a program does, not what a power cut does.
"""

import argparse
import multiprocessing
import os
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import polars as pl
from databases import database, postgresql
from sqlalchemy import func, select

from qa_engine.book import Book, Submission, create_book, open_book
from qa_engine.book.importing import add_file
from qa_engine.book.schema import RECORD_TABLES, bodies, entries, submissions
from qa_engine.book.verify import verify

BEGAN = datetime(2026, 3, 1, 8, tzinfo=UTC)
LONGEST_RUN_S = 0.25
ROWS_PER_PART = 100
PRELOADED = ["book_crash", "qa_engine.book.verify"]
FROM_THE_START = 0.3
"""The share of kills that are timed from the start, the others from the first new submission."""

Kept = Callable[[str], None]


def records(first: int, count: int) -> dict[str, pl.DataFrame]:
    """Return invented records, told by their numbers."""
    number = pl.int_range(first, first + count, eager=True)
    at = pl.lit(BEGAN) + pl.duration(minutes=number)
    tank = pl.concat_str(pl.lit("T"), number % 7)
    common = {"record": pl.concat_str(pl.lit("R"), number), "at": at, "tank": tank}
    frame = pl.select(**common, outlet_tds=(number % 40).cast(pl.Float64))
    rinses = frame.select("record", "at", "tank", rinses="outlet_tds")
    is_rinse = pl.Series(number % 3 == 0)
    found = {"reading": frame.filter(~is_rinse), "rinse": rinses.filter(is_rinse)}
    return {kind: one for kind, one in found.items() if one.height}


def add_singly(book: Book, size: int, done: int, kept: Kept) -> None:
    """Add records one by one; the first is one that is kept already, as far as we know."""
    for number in range(max(0, done - 1), size):
        moment = BEGAN + timedelta(seconds=number)
        book.add(records(number, 1), key=f"single {number}", entered_at=moment, entered_by="P1")
        kept(f"single {number}")


def import_file(book: Book, size: int, done: int, kept: Kept) -> None:
    """Import a file part by part, from its beginning whatever was done."""
    parts = iter(range(1, size))
    add_file(
        book,
        records(0, size),
        Submission("file", BEGAN, "P1", "invented.csv"),
        told=lambda receipt, rows: kept(f"file/{next(parts)}"),
        rows_per_part=ROWS_PER_PART,
    )


JOBS = {"single additions": (add_singly, 45), "import": (import_file, 2_500)}
"""What does a job, and how many records it has for every kill."""


def work(url: str, job: str, size: int, log: str) -> None:
    """Do a job and log each key that is known to be kept; this is what gets killed."""
    done = len(_keys(Path(log)))
    file = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    os.write(file, b"began\n")
    with open_book(url) as book:
        JOBS[job][0](book, size, done, lambda key: os.write(file, f"{key}\n".encode()) and None)
    os.write(file, b"ended\n")


def _keys(log: Path) -> set[str]:
    """Return the keys in a log; the last line may be half a one."""
    lines = log.read_text().split("\n")[:-1] if log.exists() else []
    return {line for line in lines if line not in ("began", "ended")}


def made(url: str) -> None:
    """Make the book that a job works on."""
    create_book(
        url,
        operator="Invented Rinsing",
        time_zone="UTC",
        entered_at=BEGAN,
        entered_by="P1",
        book_id="c4a5",
    ).close()


@dataclass
class Outcome:
    """What was seen of one job on one database."""

    kills: int = 0
    acknowledged: int = 0
    lost: int = 0
    torn: int = 0
    breaches: int = 0
    same_root: bool = False

    @property
    def good(self) -> bool:
        """Return whether nothing was lost, torn or broken."""
        return not (self.lost or self.torn or self.breaches) and self.same_root


def trial(url: str, undisturbed: str, job: str, kills: int, seed: int) -> Outcome:
    """Kill a job so many times, let it end, and return what was seen.

    Raises:
        ValueError: the job came to its end before it was killed so often.
    """
    random, outcome = Random(seed), Outcome()
    size = JOBS[job][1] * (kills + 2)
    made(url)
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "log"
        while outcome.kills < kills:
            outcome.kills += _run(url, job, size, log, random)
            _look(url, log, outcome)
            if "ended" in log.read_text():
                raise ValueError(f"{job}: {size} records are too few for {kills} kills")
        _run(url, job, size, log, None)
        _look(url, log, outcome)
        made(undisturbed)
        work(undisturbed, job, size, str(Path(folder) / "other"))
    with open_book(url) as book, open_book(undisturbed) as other:
        outcome.same_root = book.root() == other.root() and book.size() == size + 1
    return outcome


def _run(url: str, job: str, size: int, log: Path, kill: Random | None) -> bool:
    """Run a job in a process of its own; return whether it was killed before its end."""
    from_start = kill is not None and kill.random() < FROM_THE_START
    had, began = len(_keys(log)), log.read_text().count("began") if log.exists() else 0
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(PRELOADED)
    process = context.Process(target=work, args=(url, job, size, str(log)))
    process.start()
    while process.is_alive() and kill is not None:
        time.sleep(0.001)
        started = log.exists() and log.read_text().count("began") > began
        if started and (from_start or len(_keys(log)) > had):
            time.sleep(kill.uniform(0, LONGEST_RUN_S))
            process.kill()
            break
    process.join()
    return process.exitcode != 0


def _look(url: str, log: Path, outcome: Outcome) -> None:
    """Hold what is left in a book against what its writer knew to be kept."""
    keys = _keys(log)
    with open_book(url) as book:
        with book.reading() as held:
            kept = set(held.execute(select(submissions.c.key)).scalars())
            outcome.torn += _torn(held)
        outcome.acknowledged = len(keys)
        outcome.lost += len(keys - kept)
        outcome.breaches += len(list(verify(book)))


def _torn(held) -> int:
    """Return how many submissions lack entries, or entries their values."""
    counted = select(entries.c.submission, func.count().label("n")).group_by("submission")
    found = counted.subquery()
    joined = submissions.outerjoin(found, found.c.submission == submissions.c.submission)
    short = select(func.count()).select_from(joined)
    lacking = held.execute(
        short.where(func.coalesce(found.c.n, 0) != submissions.c.entries)
    ).scalar()
    valued = [
        select(func.count()).select_from(table) for table in (bodies, *RECORD_TABLES.values())
    ]
    rows = sum(held.execute(one).scalar() for one in valued)
    whole = held.execute(select(func.count()).select_from(entries)).scalar()
    return lacking + abs(whole - rows)


def main() -> None:
    """Run every trial and print what was seen."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--only", choices=("sqlite", "postgresql"))
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    good = True
    if asked.only != "postgresql":
        with tempfile.TemporaryDirectory() as folder:
            urls = (f"{folder}/{name}.book" for name in "abcdefgh")
            good &= _all("sqlite", urls, asked)
    if asked.only != "sqlite":
        with postgresql() as server:
            good &= _all("postgresql", _databases(server), asked)
    raise SystemExit(0 if good else 1)


def _databases(server: str):
    while True:
        with database(server) as url, database(server) as other:
            yield url
            yield other


def _all(name: str, urls, asked: argparse.Namespace) -> bool:
    good = True
    for job in JOBS:
        began = time.monotonic()
        outcome = trial(next(urls), next(urls), job, asked.kills, asked.seed)
        good &= outcome.good
        print(f"{name}, {job}: {outcome}, {time.monotonic() - began:.0f} s", flush=True)
    return good


if __name__ == "__main__":
    main()
