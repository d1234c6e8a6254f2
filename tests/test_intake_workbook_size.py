"""Workbooks of a few kilobytes that stand for gigabytes: measured, and not read."""

import io
import zipfile

import openpyxl
import pytest

from qa_engine.errors import IntakeError
from qa_engine.intake import WrittenFile, propose_map, read_records, workbook_size

SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    "<sheetData>{rows}</sheetData>{more}</worksheet>"
)
ONE = '<row r="1"><c r="A1"><v>1</v></c></row>'


def workbook(rows=ONE, more="", parts=None):
    """The bytes of a workbook whose only sheet has these rows, with parts put in or replaced."""
    plain, out = io.BytesIO(), io.BytesIO()
    openpyxl.Workbook().save(plain)
    put = {"xl/worksheets/sheet1.xml": SHEET.format(rows=rows, more=more), **(parts or {})}
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.namelist():
            if part not in put:
                new.writestr(part, old.read(part))
        for part, content in put.items():
            new.writestr(part, content)
    return out.getvalue()


def size_of(content):
    workbook_size.check_size("a.xlsx", io.BytesIO(content))


def test_a_workbook_of_one_cell_is_read_from_its_start():
    stream = io.BytesIO(workbook())
    workbook_size.check_size("a.xlsx", stream)
    assert stream.tell() == 0


@pytest.mark.parametrize(
    "rows",
    [
        '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>',
        '<row r="1"><c r="XFD1"/></row><row r="1000"><c r="A1000"/></row>',
        "<row>" + "<c/>" * 2000 + "</row>" + "<row/>" * 7000,
        "<x:row xmlns:x='x' r='1048576'><x:c a='>' r='$XFD$1048576'/></x:row>",
    ],
    ids=["last cell", "wide and high", "cells that name no place", "prefixed, with a trap"],
)
def test_a_sheet_is_as_large_as_from_its_first_to_its_last_row_and_column(rows):
    """2000 x 7000 and 16384 x 1000 are 14 and 16.4 million cells, and 12 million are taken."""
    content = workbook(rows)
    assert len(content) < 20_000
    with pytest.raises(IntakeError, match="too large; split it"):
        size_of(content)


def test_as_many_cells_as_are_allowed_are_taken(monkeypatch):
    content = workbook('<row r="3"><c r="D3"/></row>')
    monkeypatch.setattr(workbook_size, "MOST_CELLS", 12)
    size_of(content)
    monkeypatch.setattr(workbook_size, "MOST_CELLS", 11)
    with pytest.raises(IntakeError, match="too large"):
        size_of(content)


def test_the_cells_of_all_sheets_are_added_up(monkeypatch):
    content = workbook(parts={"xl/worksheets/other.xml": SHEET.format(rows=ONE, more="")})
    monkeypatch.setattr(workbook_size, "MOST_CELLS", 1)
    with pytest.raises(IntakeError, match="too large"):
        size_of(content)


def test_one_long_text_that_many_cells_point_to_is_counted_for_each():
    """A text of 1 MB and 300 cells that show it are 300 MB; 256 MiB are taken."""
    strings = "<sst><si><t>" + "x" * 1_000_000 + "</t></si></sst>"
    cells = "".join(f'<row><c r="A{n}" t="s"><v>0</v></c></row>' for n in range(1, 301))
    with pytest.raises(IntakeError, match="too large"):
        size_of(workbook(cells, parts={"xl/sharedStrings.xml": strings}))
    size_of(workbook(cells.replace("<v>0", "<v>7"), parts={"xl/sharedStrings.xml": strings}))


def test_a_merged_range_counts_as_large_as_it_is():
    merged = '<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>'
    with pytest.raises(IntakeError, match="too large"):
        size_of(workbook(more=merged))


def test_blanks_that_unpack_to_more_than_is_allowed_are_not_read_to_their_end(monkeypatch):
    monkeypatch.setattr(workbook_size, "LARGEST_UNPACKED", 5_000_000)
    content = workbook(" " * 6_000_000 + ONE)
    assert len(content) < 50_000
    with pytest.raises(IntakeError, match="too large"):
        size_of(content)


def test_a_size_that_the_package_states_wrongly_is_not_believed(monkeypatch):
    """The entry of the directory says 10 bytes; what comes out is counted all the same."""
    monkeypatch.setattr(workbook_size, "LARGEST_UNPACKED", 5_000_000)
    content = bytearray(workbook(" " * 6_000_000 + ONE))
    at = content.rindex(b"xl/worksheets/sheet1.xml") - 46
    assert content[at : at + 4] == b"PK\x01\x02"
    content[at + 24 : at + 28] = (10).to_bytes(4, "little")
    with pytest.raises(IntakeError):
        size_of(bytes(content))


@pytest.mark.parametrize(
    "parts",
    [
        {"xl/media/picture.png": SHEET.format(rows=ONE, more="")},
        {"xl/theme/x.xml": '<!DOCTYPE a [<!ENTITY b "bb">]><a>&b;</a>'},
        {"xl/worksheets/sheet1.xml": "<worksheet><sheetData>"},
    ],
    ids=["a sheet that poses as a picture", "entities", "broken off"],
)
def test_a_workbook_that_is_not_built_as_one_is_refused(parts):
    with pytest.raises(IntakeError, match=r"a\.xlsx: "):
        size_of(workbook(parts=parts))


def test_a_bomb_is_refused_wherever_a_workbook_is_read():
    file = WrittenFile("a.xlsx", workbook('<row r="1048576"><c r="XFD1048576"/></row>'))
    for read in (propose_map, lambda one: read_records([one])):
        with pytest.raises(IntakeError, match="too large"):
            read(file)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", b"Date,TDS" + b"," * 5_000 + b"\n2026-07-01,3\n"),
        ("a.jsonl", b"\n".join(b'{"c%d": 1}' % number for number in range(2_500))),
    ],
)
def test_a_table_with_thousands_of_columns_is_refused(name, content):
    with pytest.raises(IntakeError, match="columns; at most 2,000 are taken"):
        propose_map(WrittenFile(name, content))
