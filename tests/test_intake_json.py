"""JSON Lines, their values taken as they were written."""

import pytest

from qa_engine.errors import IntakeError
from qa_engine.intake import WrittenFile, read_records

START = '"record": "R1", "kind": "reading", "at": "2026-03-01T08:15:00Z", "tank": "T1"'


def read(text: str | bytes):
    content = text.encode() if isinstance(text, str) else text
    return read_records([WrittenFile("r.jsonl", content)])


def only(text: str) -> dict:
    intake = read(text)
    assert intake.refused.is_empty()
    (frame,) = intake.frames.values()
    return frame.row(0, named=True)


def refusal(text: str) -> tuple:
    intake = read(text)
    assert (intake.read, intake.accepted, intake.refused_rows) == (1, 0, 1)
    return intake.refused.select("line", "record", "field", "expected").row(0)


def test_numbers_keep_their_digits_until_their_field_reads_them():
    """By hand: 0.1 g/L is 100 mg/L; a float that went through 0.1 * 1000 may not be."""
    assert only(f'{{{START}, "outlet_tds": 2.50, "inlet_tds [g/L]": 0.3}}')["inlet_tds"] == 300.0
    assert only(f'{{{START}, "job": 12}}'.replace("reading", "rinse"))["job"] == "12"


def test_the_unit_of_a_value_wins_over_that_of_its_name():
    assert only(f'{{{START}, "inlet_tds [g/L]": "3 ppm"}}')["inlet_tds"] == 3.0


def test_true_and_false_are_answers_and_null_is_missing():
    row = only(
        f'{{{START}, "riser_checked": true, "lot": null}}'.replace("reading", "resin_change")
    )
    assert row["riser_checked"] is True
    assert "lot" not in row


def test_nan_written_as_a_number_counts_as_missing():
    intake = read(f'{{{START}, "outlet_tds": NaN}}')
    assert "outlet_tds" not in intake.frames["reading"].columns
    assert intake.notes == (
        "r.jsonl: 1 cell holds NaN or infinity in 'outlet_tds'; that counts as missing",
    )


def test_a_number_of_five_thousand_digits_is_refused_as_too_large():
    assert "is too large" in refusal(f'{{{START}, "outlet_tds": {"9" * 5000}}}')[3]


@pytest.mark.parametrize(
    ("line", "field", "why"),
    [
        (f'{{{START}, "note": ["a"]}}', "note", "is nested"),
        (f'{{{START}, "note": {{"a": 1}}}}', "note", "is nested"),
        (f'{{{START}, "note": "a", "note": "b"}}', "note", "stands twice"),
        (f'{{{START}, "flow": 1, "flow [gpm]": 1}}', "flow", "stands twice"),
        (f'{{{START}, "note": "\\ud800"}}', "note", "has half of a surrogate pair"),
        ("[1, 2]", None, "is not an object"),
        ("3", None, "is not an object"),
        ('{"record": ', None, "is not JSON"),
        ("[" * 100_000, None, "is nested too deeply"),
    ],
)
def test_a_line_that_is_no_record_is_refused_with_its_reason(line, field, why):
    number, record, named, expected = refusal(line)
    assert (number, named) == (1, field)
    assert why in expected
    assert record == ("R1" if field else None)


def test_blank_lines_are_no_rows_but_count_as_lines():
    intake = read(f'\ufeff{{{START}}}\n\n{{"record": "R2"}}\n')
    assert (intake.read, intake.accepted) == (2, 1)
    assert intake.refused["line"].to_list() == [3]


def test_an_unknown_name_is_an_error_with_the_nearest_one():
    with pytest.raises(IntakeError, match=r"r\.jsonl:2: there is no column 'tnak'; did you mean"):
        read(f'{{{START}}}\n{{"tnak": "T1"}}')


def test_text_that_is_not_utf8_is_an_error():
    with pytest.raises(IntakeError, match=r"r\.jsonl:2: this is not UTF-8"):
        read(b'{"record": "R1"}\n{"record": "\xff"}\n')
