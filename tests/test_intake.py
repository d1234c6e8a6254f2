"""Files of records as a whole: what is taken, what is refused, and that the sums hold."""

from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from qa_engine.errors import IntakeError
from qa_engine.intake import REFUSED, Intake, WrittenFile, read_records

HEAD = "record,kind,at,van,tank,outlet_tds,water_temperature,rinses"
AT = "2026-03-01T08:15:00Z"


def read(*rows: str, head: str = HEAD, **options: Any) -> Intake:
    return read_records([written("a.csv", *rows, head=head)], **options)


def written(name: str, *rows: str, head: str = HEAD) -> WrittenFile:
    return WrittenFile(name, "\n".join([head, *rows, ""]).encode())


def problems(intake: Intake) -> list[tuple[Any, ...]]:
    return intake.refused.select("line", "record", "field", "written").rows()


def test_a_row_is_taken_with_its_values_in_the_units_of_their_fields():
    """By hand: 68 degF is (68 - 32) * 5/9 = 20 degC."""
    intake = read(f"R1,reading,{AT},V1,T1,25 ppm,68 degF,")
    row = intake.frames["reading"].row(0, named=True)
    assert row.pop("at").isoformat() == "2026-03-01T08:15:00+00:00"
    assert row.pop("water_temperature") == pytest.approx(20.0, rel=1e-12)
    assert row == {
        "record": "R1",
        "kind": "reading",
        "van": "V1",
        "tank": "T1",
        "outlet_tds": 25.0,
    }
    assert intake.refused.schema == REFUSED


def test_kinds_in_one_file_part_into_frames_with_the_columns_they_fill():
    intake = read(f"R1,reading,{AT},V1,T1,25,,", f"R2,rinse,{AT},V1,T1,,,2")
    assert list(intake.frames) == ["reading", "rinse"]
    assert "rinses" not in intake.frames["reading"].columns
    assert intake.frames["rinse"]["rinses"].to_list() == [2.0]


def test_the_bad_day_of_a_crew():
    """A unit in a cell, a NaN, an empty cell, a misspelt kind, a time without offset."""
    intake = read(
        f"R1,reading,{AT},V1,T1,25 ppm,,",
        f"R2,reading,{AT},V1,T1,NaN,,",
        f"R3,reading,{AT},V1,T1,,,",
        f"R4,raeding,{AT},V1,T1,3,,",
        "R5,reading,2026-03-01T08:15:00,V1,T1,3,,",
    )
    assert intake.frames["reading"]["outlet_tds"].to_list() == [25.0, None, None]
    assert problems(intake) == [
        (5, "R4", "kind", "raeding"),
        (6, "R5", "at", "2026-03-01T08:15:00"),
    ]
    kind, at = intake.refused["expected"]
    assert kind.startswith("is not known (did you mean 'reading'?); expected one of: reading")
    assert at.startswith("has no offset and no --time-zone was given; expected a time")
    note = "a.csv: 1 cell holds NaN or infinity in 'outlet_tds'; that counts as missing"
    assert intake.notes == (note,)


@pytest.mark.parametrize(
    ("cell", "why"),
    [
        ("-1", "lies below 0 mg/L"),
        ("60000", "lies above 50000 mg/L"),
        ("60 g/L", "lies above 50000 mg/L"),
        ("1_000", "is not a number"),
        ("٣", "is not a number"),
        ("1٣", "has a wrong unit: '٣' is not a unit known here"),
        ("1e400", "is too large to be a measurement"),
        ("1e308 g/L", "is too large to be a measurement"),
        ("25 psi", "has a wrong unit: psi and mg/L do not measure the same thing"),
        ("yes", "is not a number"),
    ],
)
def test_a_number_that_cannot_be_is_refused(cell, why):
    intake = read(f"R1,reading,{AT},V1,T1,{cell},,")
    assert problems(intake) == [(2, "R1", "outlet_tds", cell)]
    assert intake.refused["expected"][0].startswith(f"{why}; expected a number")


def test_water_of_900_degrees_is_refused():
    assert problems(read(f"R1,reading,{AT},V1,T1,,900,")) == [(2, "R1", "water_temperature", "900")]


def test_every_problem_of_a_row_is_told_and_the_row_counts_once():
    intake = read(f"R1,reading,{AT},V1,,-1,900,")
    assert intake.refused["field"].sort().to_list() == ["outlet_tds", "tank", "water_temperature"]
    assert (intake.read, intake.accepted, intake.refused_rows) == (1, 0, 1)


def test_a_missing_value_says_what_was_expected():
    (expected,) = read(f"R1,reading,{AT},V1,,3,,").refused["expected"]
    assert expected == (
        "missing; expected an id of 1 to 64 printable characters without spaces at its ends"
    )


@pytest.mark.parametrize(("kind", "said"), [("rinse", "a rinse"), ("incident", "an incident")])
def test_a_value_in_another_kinds_field_is_refused_with_its_owner(kind, said):
    (expected,) = read(f"R1,{kind},{AT},V1,T1,3,,").refused["expected"]
    why = f"({said} has no field 'outlet_tds'; it belongs to: reading)"
    assert expected == f"an empty cell {why}"


def test_a_row_without_a_kind_is_refused():
    assert problems(read(f"R1,,{AT},V1,T1,,,")) == [(2, "R1", "kind", None)]


@pytest.mark.parametrize(
    ("at", "utc"),
    [
        ("2026-03-29T01:59:00", "2026-03-29T00:59:00+00:00"),  # the last minute of winter time
        ("2026-03-29T03:00:00", "2026-03-29T01:00:00+00:00"),  # the first of summer time
        ("2026-07-01 12:00", "2026-07-01T10:00:00+00:00"),
        ("2026-07-01T12:00:00Z", "2026-07-01T12:00:00+00:00"),
    ],
)
def test_a_local_time_is_taken_in_the_zone_given(at, utc):
    intake = read(f"R1,reading,{at},V1,T1,3,,", time_zone="Europe/Berlin")
    assert intake.frames["reading"]["at"][0].isoformat() == utc


@pytest.mark.parametrize(
    ("at", "why"),
    [
        ("2026-03-29T02:30:00", "was skipped when the clocks of Europe/Berlin changed"),
        ("2026-10-25T02:30:00", "came twice when the clocks of Europe/Berlin changed"),
    ],
)
def test_a_local_time_that_the_clocks_did_not_show_once_is_refused(at, why):
    intake = read(f"R1,reading,{at},V1,T1,3,,", time_zone="Europe/Berlin")
    assert problems(intake) == [(2, "R1", "at", at)]
    assert why in intake.refused["expected"][0]


def test_an_unknown_time_zone_is_an_error_with_a_hint():
    with pytest.raises(IntakeError, match=r"'Europe/Berlinn' is not known \(did you mean 'E"):
        read(time_zone="Europe/Berlinn")


def test_identical_rows_are_kept_once_with_a_note():
    row = f"R1,reading,{AT},V1,T1,25,,"
    again = "R1,reading,2026-03-01T09:15:00+01:00,V1,T1,25 ppm,,"
    intake = read_records([written("a.csv", row, again), written("b.csv", row)])
    assert (intake.read, intake.accepted, intake.refused_rows, intake.repeated) == (3, 1, 0, 2)
    assert intake.notes == (
        "2 rows say again what another row with the same id says; each record is kept once",
    )


def test_differing_rows_of_one_id_are_all_refused_and_name_each_other():
    first = written("a.csv", f"R1,reading,{AT},V1,T1,25,,", f"R2,reading,{AT},V1,T1,25,,")
    second = written("b.csv", f"R1,rinse,{AT},V1,T1,,,1")
    intake = read_records([first, second])
    assert intake.frames["reading"]["record"].to_list() == ["R2"]
    assert "rinse" not in intake.frames
    assert intake.refused.select("source", "line", "expected").rows() == [
        ("a.csv", 2, "an id that no other record has (a different record has it too: b.csv:2)"),
        ("b.csv", 2, "an id that no other record has (a different record has it too: a.csv:2)"),
    ]


def test_many_rows_of_one_id_name_only_a_few_others():
    intake = read(*(f"R1,reading,{AT},V1,T1,{tds},," for tds in range(6)))
    assert intake.refused["expected"][0].endswith("a.csv:3, a.csv:4, a.csv:5 and 2 more)")
    assert intake.refused["expected"][5].endswith("a.csv:2, a.csv:3, a.csv:4 and 2 more)")


def test_refused_rows_come_in_the_order_of_files_and_lines():
    rows = [f"R1,reading,{AT},V1,T1,-1,,", f"R2,x,{AT},V1,T1,3,,", f"R3,rinse,{AT},V1,T1,3,,"]
    intake = read_records([written("b.csv", *rows), written("a.csv", *rows[:1])])
    assert intake.refused.select("source", "line").rows() == [
        ("b.csv", 2),
        ("b.csv", 3),
        ("b.csv", 4),
        ("a.csv", 2),
    ]


ROWS = st.sampled_from(
    [
        f"R1,reading,{AT},V1,T1,25,,",
        f"R1,reading,{AT},V1,T1,26,,",
        f"R2,rinse,{AT},V1,T1,,,1",
        f"R2,rinse,{AT},V1,T1,,,1,more",
        f"R3,reading,{AT},V1,T1,-1,900,",
        f"R4,rnise,{AT},V1,T1,,,",
        '"R5",rinse,2026-03-01T08:15:00Z,"V\n1",T1,,,',
        "",
    ]
)


@settings(deadline=None, max_examples=60)
@given(st.lists(ROWS, max_size=10), st.lists(ROWS, max_size=4))
def test_every_row_is_accepted_refused_or_repeated(first, second):
    intake = read_records([written("a.csv", *first), written("b.csv", *second)])
    assert intake.read == sum(map(bool, [*first, *second]))
    assert intake.read == intake.accepted + intake.refused_rows + intake.repeated
    assert intake.accepted == sum(frame.height for frame in intake.frames.values())
    assert intake.refused.select("source", "line").n_unique() == intake.refused_rows


@settings(deadline=None, max_examples=40)
@given(st.permutations([ROWS.elements[n] for n in (0, 1, 2, 2, 4, 5)]))
def test_the_order_of_rows_changes_nothing_but_their_lines(rows):
    ordered, shuffled = read(*(ROWS.elements[n] for n in (0, 1, 2, 2, 4, 5))), read(*rows)
    assert_frame_equal(ordered.frames["rinse"], shuffled.frames["rinse"])
    by_field = ["record", "field", "written"]
    assert_frame_equal(
        ordered.refused.select(by_field).sort(by_field),
        shuffled.refused.select(by_field).sort(by_field),
    )


def test_the_same_records_give_the_same_frames_from_any_kind_of_file(tmp_path):
    rows = [f"R{n},reading,{AT},V1,T1,{n},20," for n in range(3)]
    from_csv = read(*rows).frames["reading"]
    from_csv.write_parquet(tmp_path / "a.parquet")
    from_csv.with_columns(pl.col("at").dt.to_string("%+")).write_ndjson(tmp_path / "a.jsonl")
    for name in ("a.parquet", "a.jsonl"):
        assert_frame_equal(read_records([tmp_path / name]).frames["reading"], from_csv)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("none.csv", None, "there is no such file"),
        ("a.xls", b"x", "the name should end in one of .csv, .jsonl, .ndjson, .parquet, .xlsx"),
        ("empty.csv", b"", "the file is empty"),
        ("empty.jsonl", b"", "the file is empty"),
        ("empty.parquet", b"", "the file is empty"),
    ],
)
def test_a_file_that_cannot_be_read_is_an_error(tmp_path, name, content, message):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(IntakeError) as caught:
        read_records([path])
    assert str(caught.value).startswith(f"{path}: {message}")


def test_a_folder_is_an_error(tmp_path):
    folder = tmp_path / "records.csv"
    folder.mkdir()
    with pytest.raises(IntakeError, match="this is a folder; name the files in it"):
        read_records([folder])


def test_a_path_is_read_like_text_in_memory(tmp_path):
    path: Path = tmp_path / "a.csv"
    row = f"R1,reading,{AT},V1,T1,25,,"
    path.write_text(f"{HEAD}\n{row}\n", encoding="utf-8")
    assert_frame_equal(read_records([path]).frames["reading"], read(row).frames["reading"])
