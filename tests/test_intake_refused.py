"""The file of refused rows."""

import csv

import polars as pl
import pytest

from qa_engine.errors import IntakeError
from qa_engine.intake import REFUSED, WrittenFile, read_records, write_refused
from qa_engine.intake.refused import Refused, refused_frame


def reread(path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_problem_is_a_row_of_the_file(tmp_path):
    text = "record,kind,at,tank,outlet_tds\nR1,reading,2026-03-01T08:15:00Z,T1,-3\n"
    intake = read_records([WrittenFile("a.csv", text.encode())])
    write_refused(intake.refused, tmp_path / "refused.csv")
    assert reread(tmp_path / "refused.csv") == [
        {
            "source": "a.csv",
            "line": "2",
            "record": "R1",
            "field": "outlet_tds",
            "written": "-3",
            "expected": "lies below 0 mg/L; expected a number in mg/L, or one with its unit, "
            "from 0 to 50000",
            "cell": "",
        }
    ]


@pytest.mark.parametrize(
    ("written", "harmless"),
    [
        ('=HYPERLINK("x")', '\'=HYPERLINK("x")'),
        ("+1+1", "'+1+1"),
        ("-2+3", "'-2+3"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("-3", "-3"),
        ("+3.5e2", "+3.5e2"),
        ("a=b", "a=b"),
    ],
)
def test_a_cell_that_a_spreadsheet_would_run_is_written_as_text(tmp_path, written, harmless):
    row = Refused("a.csv", 2, written, "note", written, "x")
    write_refused(refused_frame([row]), tmp_path / "refused.csv")
    (found,) = reread(tmp_path / "refused.csv")
    assert (found["written"], found["record"]) == (harmless, harmless)


def test_what_steers_a_screen_is_written_out():
    text = '{"record": "R\\u001b1", "kind": "x", "at": "2026-03-01T08:15:00Z"}'
    (record,) = read_records([WrittenFile("a.jsonl", text.encode())]).refused["record"]
    assert record == "R\\x1b1"


def test_no_refused_rows_give_a_file_of_heads(tmp_path):
    write_refused(pl.DataFrame(schema=REFUSED), tmp_path / "refused.csv")
    assert (tmp_path / "refused.csv").read_text(encoding="utf-8") == ",".join(REFUSED) + "\n"


def test_a_file_that_cannot_be_written_is_an_error(tmp_path):
    with pytest.raises(IntakeError, match="cannot be written"):
        write_refused(pl.DataFrame(schema=REFUSED), tmp_path / "no folder" / "refused.csv")
