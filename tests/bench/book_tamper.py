"""Tamper with copies of a record book at random and count what `verify` finds.

    .venv/bin/python tests/bench/book_tamper.py [--tamperings N] [--files N] [--postgresql N]

Every tampering goes past the guards: they are taken away and put back, as somebody can who owns
the database. Each is done to a fresh copy of one small, invented book. An auditor keeps two of its
signed heads, one of them from the middle.
"""

import argparse
import shutil
import sqlite3
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from random import Random

import psycopg
from book_sample import ROUNDS, head_of, make
from databases import database, postgresql
from sqlalchemy import make_url
from tamperings import TARGETS, WAYS, Done, tamper

from qa_engine.book import open_book
from qa_engine.book.breach import Breach
from qa_engine.book.signing import SignedHead
from qa_engine.book.verify import verify
from qa_engine.errors import BookError

SUFFIX_SHARE = 0.05
"""The share of tamperings that replace everything from some entry on by another story."""

NUMBERS = count(1)


@dataclass
class Tally:
    """What was done and what of it was found.

    Attributes:
        done: how often, by what was done.
        missed: what was not found.
        named: how often the entry concerned was named, of ``nameable`` times that there was one.
    """

    done: Counter[str] = field(default_factory=Counter)
    missed: list[str] = field(default_factory=list)
    named: int = 0
    nameable: int = 0

    def count(self, done: tuple[str, int | None], found: list[Breach]) -> None:
        what, entry = done
        self.done[what.split(".")[0]] += 1
        if not found:
            self.missed.append(f"{what}, entry {entry}")
        if entry is not None:
            self.nameable += 1
            self.named += any(_names(breach, entry) for breach in found)


def _names(breach: Breach, entry: int) -> bool:
    return breach.entry is not None and breach.entry <= entry <= (breach.last or breach.entry)


class Copies:
    """Copies of the book in files."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._original = folder / "original.book"
        with make(self._original, rounds=ROUNDS // 2) as half:
            middle = head_of(half, ROUNDS // 2)
        self._original.unlink()
        shutil.rmtree(f"{self._original}.files")
        with make(self._original) as book:
            self.heads = [middle, head_of(book, ROUNDS)]

    @contextmanager
    def another(self) -> Iterator[str]:
        path = self._folder / f"copy {next(NUMBERS)}.book"
        shutil.copy(self._original, path)
        shutil.copytree(f"{self._original}.files", f"{path}.files")
        yield f"sqlite:///{path}"
        for one in self._folder.glob(f"{path.name}*"):
            shutil.rmtree(one) if one.is_dir() else one.unlink()

    @contextmanager
    def empty(self) -> Iterator[str]:
        path = self._folder / f"copy {next(NUMBERS)}.book"
        yield f"sqlite:///{path}"
        for one in self._folder.glob(f"{path.name}*"):
            shutil.rmtree(one) if one.is_dir() else one.unlink()


class Databases:
    """Copies of the book in databases of a PostgreSQL server."""

    def __init__(self, server: str, original: str) -> None:
        self._server, self._original = server, original
        with make(original) as book:
            self.heads = [head_of(book, ROUNDS)]

    @contextmanager
    def another(self) -> Iterator[str]:
        name, template = f"copy_{next(NUMBERS)}", make_url(self._original).database
        with psycopg.connect(self._server, autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{name}" TEMPLATE "{template}"')
            url = make_url(self._server).set(database=name, drivername="postgresql+psycopg")
            yield url.render_as_string(hide_password=False)
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')

    @contextmanager
    def empty(self) -> Iterator[str]:
        with database(self._server) as url:
            yield url


def found_in(url: str, heads: list[SignedHead]) -> list[Breach]:
    """Return what is found; a book that cannot be opened any more counts as one thing found."""
    try:
        with open_book(url) as book:
            return verify(book, heads)
    except BookError as error:
        return [Breach(f"cannot be opened: {error}")]


def run(copies: Copies | Databases, tamperings: int, random: Random, tally: Tally) -> None:
    """Tamper so many times."""
    while tally.done.total() < tamperings:
        done, found = (_replace if random.random() < SUFFIX_SHARE else _tamper)(copies, random)
        if done is not None:
            tally.count(done, found)


def _tamper(copies: Copies | Databases, random: Random) -> tuple[Done, list[Breach]]:
    (way,) = random.choices(list(WAYS), list(WAYS.values()))
    with copies.another() as url:
        done = tamper(url, way, random)
        return done, found_in(url, copies.heads) if done else []


def _replace(copies: Copies | Databases, random: Random) -> tuple[Done, list[Breach]]:
    """Write the book anew with another story from some round on, or leave out the end."""
    forged = random.randrange(ROUNDS)
    is_short = random.random() < 0.3
    with copies.empty() as url:
        forged_book = make(url, rounds=forged) if is_short else make(url, forged=forged)
        forged_book.close()
        alone, found = found_in(url, []), found_in(url, copies.heads)
    if alone:
        return ("a forgery that is not one", None), []
    return ("the end removed" if is_short else "the end replaced", None), found


def run_on_files(copies: Copies, tamperings: int, random: Random, tally: Tally) -> int:
    """Alter one byte anywhere in the file, so many times; return how often no row was touched."""
    untouched = 0
    while tally.done.total() + untouched < tamperings:
        with copies.another() as url:
            path = Path(str(make_url(url).database))
            before = _rows_in(path)
            data = bytearray(path.read_bytes())
            data[random.randrange(len(data))] ^= 1 << random.randrange(8)
            path.write_bytes(data)
            found = found_in(url, copies.heads)
            if found or _rows_in(path) != before:
                tally.count(("a byte of the file", None), found)
            else:
                untouched += 1
    return untouched


def _rows_in(path: Path) -> list[list[tuple[object, ...]]] | str:
    """Return every row of the tables that are verified, or why they cannot be read."""
    connection = sqlite3.connect(path)
    connection.text_factory = bytes
    try:
        return [
            connection.execute(f'SELECT * FROM "{table.name}" ORDER BY 1').fetchall()
            for table in TARGETS
        ]
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        return str(error)
    finally:
        connection.close()


def report(name: str, tally: Tally, seconds: float) -> None:
    """Say what was found."""
    total = tally.done.total()
    print(f"{name}: {total} tamperings, {total - len(tally.missed)} found, in {seconds:.0f} s")
    print(f"  the entry concerned was named {tally.named} of {tally.nameable} times")
    for what, times in tally.done.most_common():
        print(f"  {times:5} {what}")
    for missed in tally.missed:
        print(f"  MISSED {missed}")


def main() -> None:
    """Tamper with books on SQLite and PostgreSQL."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--tamperings", type=int, default=1000)
    ask.add_argument("--postgresql", type=int, default=100)
    ask.add_argument("--files", type=int, default=300)
    ask.add_argument("--seed", type=int, default=1)
    told = ask.parse_args()
    random = Random(told.seed)
    with tempfile.TemporaryDirectory() as folder:
        began, tally = time.perf_counter(), Tally()
        copies = Copies(Path(folder))
        run(copies, told.tamperings, random, tally)
        report("SQLite", tally, time.perf_counter() - began)
        began, tally = time.perf_counter(), Tally()
        untouched = run_on_files(copies, told.files, random, tally)
        report("SQLite, bytes of the file", tally, time.perf_counter() - began)
        print(f"  {untouched:5} bytes of the file that no row depends on")
    if not told.postgresql:
        return
    with postgresql() as server, database(server) as original:
        began, tally = time.perf_counter(), Tally()
        run(Databases(server, original), told.postgresql, random, tally)
        report("PostgreSQL", tally, time.perf_counter() - began)


if __name__ == "__main__":
    main()
