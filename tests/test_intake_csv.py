"""CSV files, read as written, each row with the line on which it begins."""

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.errors import IntakeError
from qa_engine.intake import WrittenFile, csv_lines, read_records
from qa_engine.intake.batch import LINE

HEAD = "record,kind,at,note\n"


def batches(text: str | bytes) -> list[csv_lines.Batch]:
    content = text.encode() if isinstance(text, str) else text
    return list(csv_lines.csv_batches("r.csv", io.BytesIO(content)))


def rows(text: str | bytes) -> list[tuple[int, list[str]]]:
    """Return line and cells of every row; nothing written is an empty cell."""
    return [
        (row.pop(LINE), [cell or "" for cell in row.values()])
        for batch in batches(text)
        for row in batch.cells.iter_rows(named=True)
    ]


def refused(text: str) -> list[tuple[int, str]]:
    return [(row.line, row.expected) for batch in batches(text) for row in batch.refused]


def by_the_csv_module(text: str) -> tuple[list[tuple[int, list[str]]], list[int]]:
    """Return the rows that Python's csv module reads, and the lines of those it cannot."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    found, wrong, begins = [], [], 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return found[1:], wrong
        except csv.Error as error:
            if "unexpected end" in str(error):
                raise IntakeError from error
            wrong.append(begins)
            cells = []
        if cells:
            found.append((begins, cells + [""] * (4 - len(cells))))
        begins = reader.line_num + 1


CELL = st.sampled_from(
    [
        *("", "a", " a ", "ä", '""', '"a"', '"a,b"', '"a\nb"', '"a\r\nb"', '"a ""b"""'),
        *('a"b', 'a"', '"a"b', 'a""b', ' "a"', '"a" ', '"a\n"b', '""a""'),
    ]
)
LINES = st.lists(
    st.one_of(st.lists(CELL, min_size=1, max_size=4).map(",".join), st.just("")), max_size=12
)


@settings(deadline=None, max_examples=200)
@given(LINES, st.sampled_from(["\n", "\r\n", "\r"]), st.booleans(), st.sampled_from([7, 40, 10**6]))
def test_rows_and_lines_are_those_of_the_csv_module(lines, ending, closed, piece):
    text = HEAD + ending.join(lines) + (ending if closed else "")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_lines, "BYTES_PER_PIECE", piece)
        try:
            found, wrong = by_the_csv_module(text)
        except IntakeError:
            with pytest.raises(IntakeError, match="is never closed"):
                rows(text)
            return
        assert rows(text) == found
        assert [line for line, _ in refused(text)] == wrong


def test_plain_lines_take_the_fast_route(monkeypatch):
    monkeypatch.setattr(csv_lines, "rows_of", None)
    head = '"record","kind",at,"note"\r\n'
    assert rows(head + 'R1,rinse,,"a, b"\r\nR2,rinse,,\n') == [
        (2, ["R1", "rinse", "", "a, b"]),
        (3, ["R2", "rinse", "", ""]),
    ]


def test_a_line_break_in_a_cell_and_a_blank_line_count_as_lines():
    text = HEAD + 'R1,rinse,,"two\nlines"\n\nR2,rinse,,\n'
    assert [line for line, _ in rows(text)] == [2, 5]


def test_line_numbers_go_on_where_the_fast_route_ends(monkeypatch):
    monkeypatch.setattr(csv_lines, "BYTES_PER_PIECE", 20)
    text = HEAD + "R1,rinse,,\n" * 5 + '\nR2,rinse,,"\n"\nR3,rinse,,\n'
    assert [line for line, _ in rows(text)] == [2, 3, 4, 5, 6, 8, 10]


def test_a_byte_order_mark_is_no_part_of_the_first_head():
    assert rows("\ufeff" + HEAD + "R1,rinse,,\n") == [(2, ["R1", "rinse", "", ""])]
    assert rows("\ufeff" + '"record",kind,at,note\nR1,rinse,,\n') == [(2, ["R1", "rinse", "", ""])]


def test_a_short_row_leaves_its_last_cells_empty():
    assert rows(HEAD + "R1,rinse\nR2\n") == [
        (2, ["R1", "rinse", "", ""]),
        (3, ["R2", "", "", ""]),
    ]


def test_a_row_with_too_many_cells_is_refused_and_the_next_goes_on():
    text = HEAD + "R1,rinse,,note,more\nR2,rinse,,\n"
    assert refused(text) == [(2, "4 cells, one per column (the row has 5)")]
    assert rows(text) == [(3, ["R2", "rinse", "", ""])]


def test_a_misplaced_quotation_mark_refuses_its_row_only():
    text = HEAD + 'R1,rinse,,"a"b\nR2,rinse,,\n'
    why = "cells separated by commas (something stands behind a closing quotation mark)"
    assert refused(text) == [(2, why)]
    assert rows(text) == [(3, ["R2", "rinse", "", ""])]


def test_rows_lost_between_misplaced_quotation_marks_are_named():
    text = HEAD + 'R1,rinse,,"a\nR2,rinse,,"b"\nR3,rinse,,\n'
    assert refused(text) == [
        (
            2,
            "cells separated by commas (something stands behind a closing quotation mark "
            "in lines 2 to 3)",
        )
    ]


def test_a_quotation_mark_that_is_never_closed_is_an_error():
    with pytest.raises(IntakeError, match=r"r\.csv:3: a quotation mark opened here is never"):
        rows(HEAD + 'R1,rinse,,\nR2,rinse,,"a\nR3,rinse,,\n')


def test_a_quotation_mark_left_open_before_a_long_rest_is_an_error_too():
    with pytest.raises(IntakeError, match=r"r\.csv:2: a cell of this row is longer than 131072"):
        rows(HEAD + 'R1,rinse,,"a\n' + "R2,rinse,,\n" * 12_000 + '"\n')


@pytest.mark.parametrize("text", [HEAD + "R1,rinse,,\nR2,rinse,,caf\xe9\n", "record,caf\xe9\n\n"])
def test_text_that_is_not_utf8_is_an_error_with_its_line(text):
    line = 1 + text.encode("latin-1").split(b"\xe9")[0].count(b"\n")
    with pytest.raises(IntakeError, match=rf"r\.csv:{line}: this is not UTF-8 text; save"):
        rows(text.encode("latin-1"))


@pytest.mark.parametrize(
    ("head", "message"),
    [
        (
            "record,kind,at,outlet_tsd",
            "there is no column 'outlet_tsd'; did you mean 'outlet_tds'?",
        ),
        ("record,kind,at,zzz", "there is no column 'zzz'"),
        ("record,kind,at,flow [psi]", "'flow' has a wrong unit: psi and L/min do not measure"),
        ("record,kind,at,flow [gpn]", "'flow' has a wrong unit: 'gpn' is not a unit known here"),
        ("record,kind,at,van [L]", "the column 'van' takes no unit, so not [L]"),
        ("record,kind,at,flow,flow [gpm]", "the column 'flow' stands 2 times"),
        ("record,kind,at,", "a column has no name"),
        ("record,at", "there is no column 'kind', which every record needs"),
        ("record;kind", "the columns must be separated by commas"),
    ],
)
def test_a_wrong_head_is_an_error_that_says_what_would_do(head, message):
    with pytest.raises(IntakeError) as caught:
        rows(head + "\nR1,rinse,,\n")
    assert message in str(caught.value)
    assert str(caught.value).startswith("r.csv: ")


def test_all_wrong_heads_are_told_at_once():
    with pytest.raises(IntakeError) as caught:
        rows("record,kind,at,outlet_tsd,van [L]\n")
    assert len(str(caught.value).splitlines()) == 2


def test_the_head_carries_the_unit_of_its_column():
    assert batches("record,kind,at, water_used [gal] \nR1,rinse,,1\n")[0].units == {
        "water_used": "gal"
    }


def test_a_file_of_a_head_only_has_no_rows():
    assert read_records([WrittenFile("r.csv", HEAD.encode())]).read == 0
