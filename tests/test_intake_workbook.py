"""Workbooks whose columns bear our names, and workbooks that cannot be read."""

import io
from datetime import datetime, timedelta

import openpyxl
import pytest

from qa_engine.errors import IntakeError
from qa_engine.intake import WrittenFile, place_of, read_records, workbook_size

HEAD = ["record", "kind", "at", "tank", "water_used [gal]", "flush_time"]


def workbook(*rows, name="Log", more=()):
    book = openpyxl.Workbook()
    book.active.title = name
    for row in rows:
        book.active.append(row)
    for title, sheet_rows in more:
        sheet = book.create_sheet(title)
        for row in sheet_rows:
            sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return WrittenFile("a.xlsx", stream.getvalue())


def test_a_workbook_with_our_heads_needs_no_map():
    """By hand: a gallon is 3.785411784 L; 08:15 in Berlin in July is 06:15 UTC."""
    rows = [
        ["R1", "rinse", datetime.fromisoformat("2026-07-01T08:15:00"), "T-1", 1],
        [],
        ["R2", "resin_change", "2026-07-02T08:15:00Z", 7, None, timedelta(minutes=6)],
    ]
    intake = read_records([workbook(HEAD, *rows)], time_zone="Europe/Berlin")
    rinse = intake.frames["rinse"].row(0, named=True)
    assert rinse["at"].isoformat() == "2026-07-01T06:15:00+00:00"
    assert rinse["water_used"] == pytest.approx(3.785411784)
    change = intake.frames["resin_change"].row(0, named=True)
    assert (change["tank"], change["flush_time"]) == ("7", 6)
    assert intake.read == 2


def test_a_wrong_cell_is_named_by_sheet_and_cell():
    rows = [["R1", "rinse", "2026-07-01T08:15:00Z", "T-1", "lots"], [None] * 6 + ["stray"]]
    intake = read_records([workbook(HEAD, *rows, name="March")])
    assert [(place_of(row), row["written"]) for row in intake.refused.iter_rows(named=True)] == [
        ("a.xlsx: Sheet 'March'!E2", "lots"),
        ("a.xlsx: Sheet 'March'!G3", "stray"),
    ]


def test_one_id_in_two_sheets_is_refused_with_both_places():
    row = ["R1", "rinse", "2026-07-01T08:15:00Z", "T-1"]
    intake = read_records([workbook(HEAD, [*row, 1], more=[("More", [HEAD, [*row, 2]])])])
    assert intake.accepted == 0
    first, second = intake.refused["expected"]
    assert "a.xlsx: Sheet 'More':2" in first
    assert "a.xlsx: Sheet 'Log':2" in second


def test_a_sheet_with_other_heads_asks_for_a_column_map():
    with pytest.raises(IntakeError, match=r"(?s)Sheet 'Log': there is no column 'Date'.*--map"):
        read_records([workbook(["Date", "Tank"], ["1 May", "T-1"])])


@pytest.mark.parametrize("content", [b"PK\x03\x04 broken", b"no workbook", b"\xd0\xcf\x11\xe0old"])
def test_what_is_no_workbook_is_told_what_would_do(content):
    with pytest.raises(IntakeError, match=r"a\.xlsx: this is not a workbook in the XLSX form"):
        read_records([WrittenFile("a.xlsx", content)])


def test_a_workbook_too_large_to_unpack_is_not_unpacked(monkeypatch):
    monkeypatch.setattr(workbook_size, "LARGEST_UNPACKED", 100)
    with pytest.raises(IntakeError, match="the workbook is too large; split it"):
        read_records([workbook(HEAD)])


def test_where_the_package_is_not_installed_it_is_named(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "python_calamine", None)
    with pytest.raises(IntakeError, match=r"pip install 'qa-engine\[xlsx\]'"):
        read_records([workbook(HEAD)])
