"""The columnar check against the schema it is compiled from."""

import json
from collections import Counter
from datetime import datetime, timedelta
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from marshmallow import Schema, ValidationError, validate, validates_schema

from qa_engine.fields import Identifier, Instant, Quantity, RecordField, Word
from qa_engine.intake import WrittenFile, read_records
from qa_engine.intake.batch import LINE
from qa_engine.intake.instants import quick_instants, slow_instants
from qa_engine.intake.refused import expectation
from qa_engine.intake.screen import sift
from qa_engine.records import KINDS, Reading, Rinse
from qa_engine.units import conversion


def naive(written: str) -> datetime:
    """Return a time without an offset."""
    return datetime.fromisoformat(written)


LONG_TEXTS = ["x" * 2001, "\x1b[2J", "ä" * 1500]
HOSTILE_NUMBERS = st.sampled_from(
    [
        "1_000",
        "1,000",
        "1e400",
        "-1e400",
        "1e-400",
        "-0",
        "-0.0",
        "+5",
        ".5",
        "5.",
        "1e3",
        "1E+3",
        "0x10",
        "1e",
        "1.5.2",
        "-3",
        "900",
        "50000",
        "50000.01",
        "NaN",
        "nan",
        "inf",
        "-Infinity",
        "INF",
        "infinite",
        "1d",
        "12e2e",
        "25ppm",
        "0.3g/L",
        "25..ppm",
        "7|",
        "1__0",
        " 12.5 ",
        "25 ppm",
        "25  ppm ",
        "68 degF",
        "-40 degF",
        "25 pmm",
        "1e308 g/L",
        "1 psi",
        "5 \n",
        "12.5\n",
        "\t5",
        "1 000",
        "- 5",
        "5 %",
        "3 ppm ppm",
        "25 mS/cm",
        "'5",
        "",
        " ",
        "\u0663",
        "\uff11\uff12",
        "\u00bd",
        "12\u0663",
        "25 \u00b5S/cm",
    ]
)
NUMBERS = st.one_of(
    HOSTILE_NUMBERS,
    st.floats(0, 100).map(repr),
    st.floats().map(repr),
    st.integers(0, 60).map(str),
    st.floats(0, 1).map(lambda number: f"{number!r} g/L"),
    st.from_regex(r"[+-]?[0-9.]{1,5}([eE][+-]?[0-9]{1,2})?( ?[a-zA-Z/3]{1,5})?", fullmatch=True),
)
IDENTIFIERS = st.one_of(
    st.from_regex(r"[A-Z]{1,4}-[0-9]{1,3}", fullmatch=True),
    st.text(max_size=6),
    st.sampled_from(["x" * 64, "x" * 65, "Ä 1", "a\u200bb", "a\xadb", "ɏ", "\xa0", "é", "a  b"]),
)
THESE_YEARS = st.datetimes(naive("2025-01-01"), naive("2026-12-31"))
INSTANTS = st.one_of(
    THESE_YEARS.map(lambda at: at.isoformat()),
    st.datetimes().map(lambda at: at.isoformat()),
    st.sampled_from(
        [
            "2026-02-29T08:15:00",
            "2026-03-01t08:15",
            "2026-03-01 08:15:00.5",
            "2026-03-01T24:00:00",
            "2026-03-01T08:15:60",
            "2026-3-01T08:15:00",
            "1899-12-31T23:59:59",
            "0001-01-01T00:00",
            "2200-01-01T00:00:00",
            "2026-03-29T02:30:00",
            "2026-10-25T02:30:00",
            "2026-03-01",
            "2026-03-01T08:15:00.1234567",
            "20260301T081500",
            "2026-W09-7T08:15",
            "\u0662026-03-01T08:15",
        ]
    ),
)
OFFSETS = st.sampled_from(
    ["Z", "z", "", "+01:00", "-05:30", "-00:00", "+23:59", "+24:00", "+01:75", "+0100", "+01", " Z"]
)
DAYS = st.one_of(
    st.dates().map(str),
    st.sampled_from(["2026-02-29", "2026-2-01", "1899-12-31", "", "0000-01-01"]),
)
ANSWERS = st.sampled_from(["yes", "TRUE", "nO", "y", "1", "ye\u017f", "maybe", "", " "])


def cells_of(field: RecordField) -> st.SearchStrategy[str]:
    """Return cells for a field, many of them right."""
    if isinstance(field, Word):
        return st.one_of(st.sampled_from(field.words), st.sampled_from(["", "flowin", "Flowing "]))
    kinds = {"Quantity": NUMBERS, "Identifier": IDENTIFIERS, "Day": DAYS, "YesNo": ANSWERS}
    kinds["Instant"] = st.builds(str.__add__, INSTANTS, OFFSETS)
    kinds["Text"] = st.one_of(
        st.text(max_size=5), st.sampled_from(["x" * 2001, "\x1b[2J", "ä" * 1500])
    )
    return kinds[type(field).__name__]


@st.composite
def records(draw: st.DrawFn) -> dict[str, str]:
    """Return a record of text cells, a few of them hostile."""
    kind = KINDS[draw(st.sampled_from(["reading", "rinse", "resin_change", "vessel_service"]))]
    row = {"kind": kind.name, "at": "2026-03-01T08:15:00Z", "tank": "T1"}
    for name in draw(st.lists(st.sampled_from(list(kind.fields)), max_size=4, unique=True)):
        if name not in ("record", "kind"):
            row[name] = draw(cells_of(kind.fields[name]))
    if draw(st.integers(0, 9)) == 0:
        row["next_due"] = draw(st.sampled_from(["2026-01-01", "", " "]))
    return row


def plainly(row: dict[str, str], zone: str | None) -> tuple[dict[str, Any], set[tuple[str, str]]]:
    """Return the values, or the problems, that plain marshmallow finds in a row."""
    kind = KINDS[row["kind"]]
    schema = kind.schema()
    at = schema.fields["at"]
    assert isinstance(at, Instant)
    at.time_zone = zone
    row = {name: cell for name, cell in row.items() if name in kind.fields or cell.strip(" ")}
    try:
        return dict(schema.load(row)), set()
    except ValidationError as error:
        found = error.messages_dict
        return {}, {(name, expectation(one)) for name, them in found.items() for one in them}


@settings(deadline=None, max_examples=60)
@given(st.lists(records(), min_size=1, max_size=8), st.sampled_from([None, "Europe/Berlin"]))
def test_values_and_messages_are_those_of_plain_marshmallow(rows, zone):
    rows = [{"record": f"R{number}", **row} for number, row in enumerate(rows)]
    text = "\n".join(json.dumps(row) for row in rows)
    intake = read_records([WrittenFile("rows.jsonl", text.encode())], time_zone=zone)
    taken = {
        row["record"]: {name: cell for name, cell in row.items() if cell is not None}
        for frame in intake.frames.values()
        for row in frame.iter_rows(named=True)
    }
    for row in rows:
        values, problems = plainly(row, zone)
        assert repr_of(taken.get(row["record"], {})) == repr_of(values)
        ours = intake.refused.filter(pl.col("record") == row["record"])
        theirs = {(f, e) for f, e in problems if e != "Unknown field."}
        found = set(ours.select("field", "expected").iter_rows())
        assert {(f, e) for f, e in found if "has no field" not in e} == theirs
        assert len(found) == len(problems)


def repr_of(values: dict[str, Any]) -> dict[str, str]:
    """Return values so that equal means equal to the last bit, the sign of zero included."""
    return {
        name: cell.isoformat() if isinstance(cell, datetime) else repr(cell)
        for name, cell in sorted(values.items())
    }


def frame(**columns: list[Any]) -> pl.DataFrame:
    """Return readings as a batch; what is not given is right."""
    size = len(next(iter(columns.values())))
    always = {"record": [f"R{n}" for n in range(size)], "kind": ["reading"] * size}
    always |= {"at": ["2026-03-01T08:15:00Z"] * size, "tank": ["T1"] * size}
    return pl.DataFrame({**always, **columns}).with_row_index(LINE, 2)


@pytest.mark.parametrize(
    ("column", "cells"),
    [
        ("outlet_tds", ["25", "25 ppm", "0.025 g/L", " 25", "1e1", ".5"]),
        ("outlet_tds", ["NaN", "inf", "", " ", "-Infinity"]),
        ("water_temperature", ["68 degF", "20 degC", "20"]),
        ("outlet_conductivity", ["5 µS/cm", "0.005 mS/cm"]),
        ("at", ["2026-03-01T08:15Z", "2026-03-01 08:15:00.25+01:00", "2026-03-01t08:15:00-05:30"]),
        ("sampled", ["flowing", "first flush", ""]),
        ("note", ["", "spots, again", "two\nlines"]),
        ("van", ["VAN-1", "Ä 2", ""]),
    ],
)
def test_what_is_right_needs_no_second_way(column, cells):
    assert sift(Reading(), frame(**{column: cells}), {}).left.is_empty()


def test_cells_that_hold_no_measurement_are_counted():
    sifted = sift(Reading(), frame(outlet_tds=["NaN", "inf", "", "3"]), {})
    assert sifted.unmeasured == Counter(outlet_tds=2)
    assert sifted.passed["outlet_tds"].to_list() == [None, None, None, 3.0]


@settings(deadline=None, max_examples=40)
@given(st.lists(st.floats(0, 40), min_size=1), st.sampled_from(["g/L", "ppm", "mg/L"]))
def test_a_unit_in_the_head_or_in_the_cell_gives_the_same_bits(numbers, unit):
    by_hand = [conversion(unit, "mg/L").apply(number) for number in numbers]
    in_head = sift(Reading(), frame(outlet_tds=[repr(n) for n in numbers]), {"outlet_tds": unit})
    in_cell = sift(Reading(), frame(outlet_tds=[f"{n!r} {unit}" for n in numbers]), {})
    assert in_head.passed["outlet_tds"].to_list() == by_hand
    assert in_cell.passed["outlet_tds"].to_list() == by_hand


def test_spaces_around_a_number_leave_it_in_the_unit_of_its_head():
    """By hand: 3 g/L is 3000 mg/L."""
    sifted = sift(Reading(), frame(outlet_tds=["3", " 3 "]), {"outlet_tds": "g/L"})
    assert sifted.passed["outlet_tds"].to_list() == [3000.0, 3000.0]


def test_a_minus_zero_becomes_a_zero():
    cells = frame(outlet_tds=["-0", "-0.0 ppm", "0"], inlet_tds=pl.Series([-0.0] * 3))
    passed = sift(Reading(), cells, {}).passed
    assert [str(one) for one in passed["outlet_tds"]] == ["0.0"] * 3
    assert [str(one) for one in passed["inlet_tds"]] == ["0.0"] * 3


def test_part_of_a_vehicle_does_not_pass_as_a_count():
    cells = frame(rinses=["2", "2.5", "2.0", "2.5 count"])
    sifted = sift(Rinse(), cells.with_columns(kind=pl.lit("rinse")), {})
    assert sifted.passed["rinses"].to_list() == [2.0, 2.0]


def test_the_unit_of_a_cell_wins_over_that_of_its_head():
    """By hand: 3 g/L is 3000 mg/L, and 3 ppm is 3 mg/L whatever the head says."""
    sifted = sift(Reading(), frame(outlet_tds=["3", "3 ppm"]), {"outlet_tds": "g/L"})
    assert sifted.passed["outlet_tds"].to_list() == [3000.0, 3.0]


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.datetimes(naive("1900-01-01"), naive("2199-12-31")), min_size=1, max_size=20),
    st.sampled_from(["Europe/Berlin", "Australia/Lord_Howe", "America/St_Johns", "Etc/UTC"]),
)
def test_local_times_are_what_the_field_makes_of_them(moments, zone):
    field = Instant(time_zone=zone)
    near = map(naive, ["2026-04-05T01:00", "2026-10-25T02:00", "2026-03-29T02:00"])
    moments += [at + timedelta(minutes=step) for at in near for step in (-1, 0, 15, 30, 59, 60)]
    found = slow_instants(pl.Series([at.isoformat() for at in moments]), field)
    native = slow_instants(pl.Series(moments, dtype=pl.Datetime("us")), field)
    for at, text, typed in zip(moments, found, native, strict=True):
        assert text == typed
        try:
            exact = field.deserialize(at)
        except ValidationError:
            assert text is None
        else:
            # An hour in which the clocks changed is left to the field.
            assert text in (exact, None)


def test_only_hours_in_which_the_clocks_changed_are_left_to_the_field():
    moments = pl.Series(["2026-03-29T01:59", "2026-03-29T02:00", "2026-03-29T03:00"])
    found = slow_instants(moments, Instant(time_zone="Europe/Berlin"))
    assert found.is_null().to_list() == [False, True, False]


@given(st.lists(st.builds(str.__add__, INSTANTS, OFFSETS), min_size=1))
@settings(deadline=None, max_examples=40)
def test_a_quick_instant_is_the_exact_one_or_none(written):
    column = pl.Series("at", written)
    quick = column.to_frame().select(quick_instants(pl.col("at"), column.dtype)).to_series()
    for text, found in zip(written, quick, strict=True):
        assert found is None or found == Instant().deserialize(text)


class Fussy(Word):
    """A field that the screen has never seen."""


def fussy(**fields: Any) -> Schema:
    """Return the schema of a reading with other fields in it."""
    made: Any = Reading.from_dict(fields)
    return made()


class Judging(Reading):
    """A schema with a judgement of its own."""

    @validates_schema
    def judge(self, data: Any, **kwargs: Any) -> None:
        raise ValidationError("never")


@pytest.mark.parametrize(
    "schema",
    [
        Judging(),
        fussy(sampled=Fussy("flowing")),
        fussy(outlet_tds=Quantity("mg/L", 0, 9, validate=validate.Range(max=1))),
        fussy(van=Identifier(allow_none=True)),
        fussy(van=Identifier(data_key="truck")),
        fussy(van=Identifier(load_default="V1")),
    ],
)
def test_nothing_passes_a_schema_that_the_screen_does_not_understand(schema):
    sifted = sift(schema, frame(outlet_tds=["3"]), {})
    assert sifted.passed.is_empty()
    assert sifted.left.height == 1
    assert sift(Reading(), frame(outlet_tds=["3"]), {}).left.is_empty()
