"""Tables as CSV text for spreadsheet programs."""

import csv
import io

import polars as pl
import pytest

from qa_engine.report.as_csv import spreadsheet


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_no_text_begins_as_a_formula(start):
    table = pl.DataFrame({"words": [f"{start}HYPERLINK(1)", "plain", None], "number": [-1, 2, 3]})
    rows = list(csv.DictReader(io.StringIO(spreadsheet(table), newline="")))
    assert [row["words"] for row in rows] == [f"'{start}HYPERLINK(1)", "plain", ""]
    assert [row["number"] for row in rows] == ["-1", "2", "3"]
