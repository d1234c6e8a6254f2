"""Measure how long it takes until a new reading is kept, judged, and its findings are written down.

    .venv/bin/python tests/bench/arrival.py [RECORDS] [READINGS]

The book is made of an invented fleet; the readings come in one after the other, on tanks in turn,
each as its own submission. The lookout has looked at the book once before.
"""

import statistics
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

import polars as pl
from fleet import Fleet

from qa_engine.book import Book, create_book
from qa_engine.book.lookout import Lookout
from qa_engine.cli.rule_files import rule_sources
from qa_engine.intake import read_records, read_register
from qa_engine.plugin_host import installed_plugins
from qa_engine.records import KINDS

RECORDS, READINGS = 1_000_000, 200


def made(fleet: Fleet, folder: Path) -> Book:
    """Return a book that holds a fleet."""
    register = read_register(fleet.write_register(folder / "register.yaml"))
    intake = read_records([fleet.write_records(folder / "records.parquet")], time_zone=None)
    book = create_book(
        folder / "fleet.book",
        operator=register.operator,
        time_zone=register.zone.key,
        entered_at=fleet.ends,
        entered_by="P-1",
    )
    entered = {"entered_at": fleet.ends, "entered_by": "P-1"}
    book.put_register(register, key="register", **entered)
    book.add(intake.frames, key="records", source="fleet", **entered)
    return book


def reading(number: int, fleet: Fleet) -> pl.DataFrame:
    """Return a new reading of one of the tanks."""
    tank = number * 37 % fleet.tank_count
    row = {
        "record": f"NEW-{number}",
        "kind": "reading",
        "at": fleet.ends + timedelta(minutes=1 + number // 60),
        "tank": f"T{tank}",
        "van": f"V{tank // 2}",
        "by": "P-1",
        "inlet_tds": 280.0,
        "outlet_tds": float(number % 40),
        "meter": f"M{tank // 2}",
        "sampled": "flowing",
    }
    return pl.DataFrame([row], schema={n: f.dtype for n, f in KINDS["reading"].fields.items()})


def main(records: int, readings: int) -> None:
    """Measure a book of so many records with so many readings that come in."""
    fleet = Fleet(records)
    with tempfile.TemporaryDirectory() as folder, made(fleet, Path(folder)) as book:
        lookout = Lookout(book, installed_plugins(), rule_sources([]))
        now = fleet.ends + timedelta(hours=2)
        began = time.perf_counter()
        state = lookout.state(now)
        print(f"first look {time.perf_counter() - began:.1f} s, {state.findings.height} findings")
        kept, judged = [], []
        for number in range(readings):
            began = time.perf_counter()
            key, entered = f"new {number}", {"entered_at": now, "entered_by": "P-1"}
            book.add({"reading": reading(number, fleet)}, key=key, source="bench", **entered)
            kept.append(time.perf_counter() - began)
            lookout.state(now)
            judged.append(time.perf_counter() - began)
    for what, times in (("kept", kept), ("kept, judged and written down", judged)):
        ms = sorted(1000 * one for one in times)
        last = ms[min(len(ms) - 1, len(ms) * 99 // 100)]
        print(f"{what}: median {statistics.median(ms):.0f} ms, 99 % within {last:.0f} ms")


if __name__ == "__main__":
    given = [int(one) for one in sys.argv[1:]]
    main(*(given + [RECORDS, READINGS][len(given) :]))
