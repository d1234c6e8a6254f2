"""Column maps: what they may say, what is wrong with one, and what becomes of a table."""

import re
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from qa_engine.errors import ColumnMapError, IntakeError
from qa_engine.intake import WrittenFile, map_of, place_of, read_map, read_with_map

MAP = """column_map: 1
time_zone: Etc/UTC
date_order: day-month-year
tables:
  - kind: rinse
    columns:
      - {head: Day, field: at, part: day}
      - {head: Time, field: at, part: time}
      - {head: Tank, field: tank}
      - {head: Water, field: water_used, unit: gal}
"""
ROWS = """Day,Time,Tank,Water
25.03.2026,08:15,T-1,10
26.03.2026,08:15,T-1,45 L
"""


MANUAL = Path(__file__).parent.parent / "DEVELOPERS.md"


def mapped(text=MAP):
    return map_of("m.yaml", text.encode())


def read(rows=ROWS, text=MAP, name="a.csv"):
    content = rows if isinstance(rows, bytes) else rows.encode()
    return read_with_map([WrittenFile(name, content)], mapped(text))


def problems(text):
    with pytest.raises(ColumnMapError) as caught:
        mapped(text)
    return [(one.line, one.message) for one in caught.value.problems]


def refused(intake):
    return [
        (place_of(row), row["written"], row["expected"].split(";")[0])
        for row in intake.refused.iter_rows(named=True)
    ]


def test_a_table_is_read_as_the_map_says():
    """By hand: ten gallons are 37.85411784 L."""
    rinse = read().frames["rinse"].sort("at")
    assert rinse["at"].dt.to_string("%Y-%m-%d %H:%M").to_list() == [
        "2026-03-25 08:15",
        "2026-03-26 08:15",
    ]
    assert rinse["water_used"].to_list() == pytest.approx([37.85411784, 45])


def test_the_same_rows_have_the_same_ids_whatever_stands_around_them():
    """Rows above and the order of rows do not matter, nor does the file's name."""
    once = read().frames["rinse"]["record"].to_list()
    head, *rows = ROWS.splitlines()
    turned = "\n".join([head, "24.03.2026,07:00,T-2,1", *reversed(rows)])
    again = read(turned, name="b.csv").frames["rinse"]["record"].to_list()
    assert len(set(once)) == 2
    assert set(once) < set(again)


def test_rows_that_say_the_same_are_each_taken_and_told_of():
    intake = read(ROWS + ROWS.splitlines()[1] + "\n")
    assert intake.frames["rinse"]["record"].n_unique() == 3
    assert intake.notes == (
        "a.csv: 1 row says just what a row before says; each was taken as a record",
    )


def test_an_id_can_be_made_of_some_columns_so_that_a_mended_row_keeps_it():
    text = MAP.replace("    columns:", "    record_from: [at, tank]\n    columns:")
    before = read(text=text).frames["rinse"].sort("at")
    after = read(ROWS.replace(",10\n", ",11\n"), text).frames["rinse"].sort("at")
    assert before["record"].to_list() == after["record"].to_list()
    assert before["water_used"][0] != after["water_used"][0]


def test_a_wrong_cell_is_named_by_line_and_column_with_what_would_do():
    rows = ROWS.replace("25.03.2026", "03/25/2026").replace("45 L", "45 buckets")
    found = refused(read(rows))
    assert found == [
        ("a.csv:2, column 'Day'", "03/25/2026 08:15", "is not a time"),
        (
            "a.csv:3, column 'Water'",
            "45 buckets",
            "has a wrong unit: 'buckets' is not a unit known here",
        ),
    ]
    expected = read(rows).refused["expected"][0]
    assert expected.endswith(
        "expected a date such as 31.03.2026 08:15, and a time of day "
        "(or 'clock:' in the map for rows without one)"
    )


def test_what_a_decimal_comma_makes_wrong_is_never_taken_by_chance():
    """12.5 is no number where the decimal sign is a comma, though it would be one elsewhere."""
    text = MAP.replace("date_order", "decimal: comma\ndate_order")
    rows = ROWS.replace(",10", ',"1.210,5"').replace("45 L", "12.5")
    intake = read(rows, text)
    assert intake.frames["rinse"]["water_used"].to_list() == pytest.approx([1210.5 * 3.785411784])
    assert refused(intake) == [("a.csv:3, column 'Water'", "12.5", "is not a number")]


def test_a_column_that_is_not_in_the_map_stops_the_run():
    rows = "Day,Time,Tank,Water,Hardness\n25.03.2026,08:15,T-1,10,3\n"
    with pytest.raises(IntakeError, match=r"a\.csv: the column E, 'Hardness', is not in the map"):
        read(rows)
    assert read(rows, MAP + "    columns_left_out: [Hardness]\n").accepted == 1


def test_a_head_that_is_not_there_is_told_with_the_nearest_or_where_it_is():
    with pytest.raises(IntakeError, match=r"no column 'Water' in row 1; did you mean 'Watr'\?"):
        read(ROWS.replace("Water", "Watr"), MAP + "    columns_left_out: [Watr]\n")
    with pytest.raises(IntakeError, match="the heads seem to be in row 3"):
        read("Rinse log,,,\n,,,\n" + ROWS, MAP + "    columns_left_out: [Rinse log]\n")


def test_a_map_with_a_question_left_is_not_taken(tmp_path):
    text = MAP.replace("unit: gal", "unit: {answer: unit of water}").replace(
        "tables:", "answers:\n  # In which unit is the water?\n  unit of water: ???\ntables:"
    )
    path = tmp_path / "m.yaml"
    path.write_text(text)
    with pytest.raises(ColumnMapError, match=r"m\.yaml:6:18: this must be answered: In which"):
        read_map(path)
    with pytest.raises(ColumnMapError, match="must be answered"):
        read(text=text)
    assert read(text=text.replace("???", "L")).frames["rinse"]["water_used"].to_list() == [10, 45]
    assert problems(text.replace("???", "psi")) == [
        (6, "'water_used' takes no psi; it is in L")  # where the answer stands
    ]


@pytest.mark.parametrize(
    ("old", "new", "line", "message"),
    [
        ("column_map: 1", "column_map: 2", 1, "'column_map': '2' is not known"),
        ("column_map: 1\n", "", 1, "a column map lacks 'column_map'"),
        ("kind: rinse", "kind: rins", 5, "'kind': 'rins' is not known (did you mean 'rinse'?)"),
        ("    columns:", "    colums: []\n    columns:", 6, "'colums' is not a key of a table"),
        ("field: tank", "field: tnak", 9, "'field': 'tnak' is no field (did you mean 'tank'?)"),
        ("unit: gal", "unit: gallon", 10, "'unit': 'gallon' cannot be used: 'gallon' is not a "
         "unit known here; did you mean 'gal'?"),
        ("unit: gal", "unit: psi", 10, "'water_used' takes no psi; it is in L"),
        ("unit: gal", "unt: gal", 10, "'unt' is not a key of a column"),
        ("field: water_used, unit: gal", "field: outlet_tds", 10, "a rinse has no field "
         "'outlet_tds'"),
        ("{head: Tank, field: tank}", "{head: Tank, field: van}", 5, "every rinse needs 'tank'"),
        (", part: time", "", 7, "'at' has a whole column and one that is a part"),
        ("head: Tank, ", "", 9, "it is not said which column this is"),
        ("time_zone: Etc/UTC", "time_zone: Etc/UTX", 2, "'time_zone': 'Etc/UTX' is not known "
         "(did you mean 'Etc/UTC'?)"),
        ("kind: rinse", "kind: rinse\n    always: {van: ' x'}", 6, "'van': ' x' has a space"
         " at an end; expected an id of 1 to 64 printable characters without spaces at its ends"),
        ("kind: rinse", "kind: rinse\n    where: [flow]", 6, "no column of this table fills "
         "'flow'"),
        ("kind: rinse", "kind: rinse\n    always: {kin: x}", 6, "'kin' cannot be said of every "
         "record"),
        ("unit: gal", "unit: {answer: x}", 10, "there is no answer 'x'"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_map_is_said_with_its_place(old, new, line, message):
    text = MAP.replace(old, new, 1)
    assert text != MAP
    assert (line, message) in problems(text)


def test_one_row_may_hold_records_of_two_kinds():
    text = (
        MAP.replace("    columns:", "    where: [water_used]\n    columns:")
        + """
  - kind: reading
    where: [outlet_tds]
    columns:
      - {head: Day, field: at, part: day}
      - {head: Time, field: at, part: time}
      - {head: Tank, field: tank}
      - {head: Out, field: outlet_tds, unit: ppm}
"""
    )
    rows = "Day,Time,Tank,Water,Out\n25.03.2026,08:15,T-1,10,\n25.03.2026,09:15,T-1,,4\n"
    intake = read(rows, text)
    assert {kind: frame.height for kind, frame in intake.frames.items()} == {
        "rinse": 1,
        "reading": 1,
    }


def test_json_lines_and_parquet_are_mapped_by_their_names(tmp_path):
    columns = {"Day": ["25.03.2026"], "Time": ["08:15"], "Tank": ["T-1"], "Water": [10.5]}
    frame = pl.DataFrame(columns)
    frame.write_parquet(tmp_path / "a.parquet")
    frame.write_ndjson(tmp_path / "a.jsonl")
    first, second = (
        read_with_map([tmp_path / name], mapped()).frames["rinse"]
        for name in ("a.parquet", "a.jsonl")
    )
    assert first["water_used"].to_list() == pytest.approx([10.5 * 3.785411784])
    assert_frame_equal(first, second)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_any_separator_and_encoding_is_found_out(encoding, separator):
    rows = ROWS.replace(",", separator).replace("T-1", "Tänk-1")
    intake = read(rows.encode(encoding))
    assert intake.frames["rinse"]["tank"].to_list() == ["Tänk-1", "Tänk-1"]
    assert bool(intake.notes) == (encoding == "cp1252")


def test_an_empty_cell_carries_on_only_where_the_map_says_so():
    rows = ROWS.replace("26.03.2026", "").replace("T-1,45", '"""",45')
    text = MAP.replace("part: day", "part: day, carries_on: yes")
    text = text.replace("field: tank", "field: tank, carries_on: yes")
    rinse = read(rows, text).frames["rinse"]
    assert rinse["at"].dt.day().to_list() == [25, 25]
    assert rinse["tank"].to_list() == ["T-1", "T-1"]
    assert refused(read(rows))[0][2] == "missing"


def test_the_map_in_the_manual_is_one():
    text = next(
        one
        for one in re.findall(r"```yaml\n(.*?)```", MANUAL.read_text("utf-8"), re.DOTALL)
        if one.startswith("column_map")
    )
    fields = [column.field for column in mapped(text).tables[0].columns]
    assert fields == ["at", "at", "inlet_conductivity", "outlet_conductivity", "sampled"]
