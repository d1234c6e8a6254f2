"""Refused rows that a book keeps."""

from datetime import UTC, datetime

import pytest

from qa_engine.book import create_book
from qa_engine.book.refusals import count_refused, keep_refused, let_go, refused_rows
from qa_engine.intake import WrittenFile, map_of, read_records, read_with_map

ENTERED = {"entered_at": datetime(2026, 7, 1, tzinfo=UTC), "entered_by": "P-1"}


@pytest.fixture
def book(tmp_path):
    with create_book(tmp_path / "a.book", operator="Mere", time_zone="UTC", **ENTERED) as made:
        yield made


def intake(*rows):
    text = "\n".join(["record,kind,at,tank,outlet_tds [mg/L]", *rows])
    return read_records([WrittenFile("a.csv", text.encode())])


def test_a_row_waits_until_it_is_let_go_or_its_record_comes_in(book):
    keep_refused(book, "k", intake("R-1,reading,2026-07-01,T-1,3", "R-2,reading,x,T-1,no"))
    assert count_refused(book) == 2
    assert refused_rows(book).height == 3, "R-2 has two problems"
    assert refused_rows(book, first=1)["record"].to_list() == ["R-1"]
    let_go(book, "k", "a.csv", 3, "R-1")
    assert count_refused(book) == 2, "that is another row"
    let_go(book, "k", "a.csv", 3, "R-2")
    assert count_refused(book) == 1
    book.add(intake("R-1,reading,2026-07-01T08:00Z,T-1,3").frames, key="later", **ENTERED)
    assert count_refused(book) == 0
    assert refused_rows(book, whole=True).height == 1


def test_two_records_of_one_row_keep_each_its_own_cells(book):
    """One row of a sheet gives a reading and a rinse; both are refused, each for its own cell."""
    column_map = """
column_map: 1
time_zone: UTC
tables:
  - kind: reading
    columns:
      - {head: When, field: at}
      - {head: Tank, field: tank}
      - {head: Out, field: outlet_tds}
    columns_left_out: [Water]
  - kind: rinse
    columns:
      - {head: When, field: at}
      - {head: Tank, field: tank}
      - {head: Water, field: water_used}
"""
    lines = "When,Tank,Out,Water\n2026-07-01T08:00,T-1,lots,much\n"
    file = WrittenFile("a.csv", lines.encode())
    keep_refused(book, "k", read_with_map([file], map_of("map", column_map.encode())))
    assert count_refused(book) == 2
    cells = dict(refused_rows(book).select("field", "cells").iter_rows())
    assert '"outlet_tds": "lots"' in cells["outlet_tds"]
    assert '"water_used": "much"' in cells["water_used"]
