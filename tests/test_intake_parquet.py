"""Parquet files, whose columns have types."""

import io
from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from qa_engine.errors import IntakeError
from qa_engine.intake import Intake, WrittenFile, propose_map, read_records

AT = datetime(2026, 3, 1, 8, 15, tzinfo=UTC)


def read(time_zone: str | None = None, **columns) -> Intake:
    always = {"record": ["R1"], "kind": ["reading"], "at": [AT], "tank": ["T1"]}
    return of(pl.DataFrame({**always, **columns}), time_zone)


def of(frame: pl.DataFrame, time_zone: str | None = None) -> Intake:
    buffer = io.BytesIO()
    frame.write_parquet(buffer)
    return read_records([WrittenFile("r.parquet", buffer.getvalue())], time_zone=time_zone)


def only(intake: Intake) -> dict:
    assert intake.refused.is_empty(), intake.refused["expected"].to_list()
    (frame,) = intake.frames.values()
    return frame.row(0, named=True)


@pytest.mark.parametrize(
    "number", [25, 25.0, Decimal("25.0"), pl.Series([25], dtype=pl.UInt8), "25", "25 ppm"]
)
def test_numbers_of_any_type_are_taken(number):
    column = number if isinstance(number, pl.Series) else [number]
    assert only(read(outlet_tds=column))["outlet_tds"] == 25.0


def test_the_unit_of_a_head_holds_for_native_numbers():
    """By hand: 0.3 g/L is 300 mg/L."""
    assert only(read(**{"outlet_tds [g/L]": [0.3]}))["outlet_tds"] == 300.0


def test_nan_and_infinity_count_as_missing_and_are_told():
    intake = read(outlet_tds=[float("nan")], inlet_tds=[float("-inf")])
    assert only(intake).keys().isdisjoint({"outlet_tds", "inlet_tds"})
    assert len(intake.notes) == 2


@pytest.mark.parametrize(("number", "why"), [(-3.0, "lies below 0"), (6e4, "lies above 50000")])
def test_a_native_number_out_of_range_is_refused(number, why):
    refused = read(outlet_tds=[number]).refused
    assert refused["field"].to_list() == ["outlet_tds"]
    assert refused["line"].to_list() == [1]
    assert why in refused["expected"][0]


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
def test_instants_of_any_precision_and_zone_are_taken_in_utc(unit):
    """By hand: 09:15 in Berlin in winter is 08:15 UTC."""
    column = pl.Series([AT.astimezone(ZoneInfo("Europe/Berlin"))], dtype=pl.Datetime("us", "UTC"))
    column = column.dt.convert_time_zone("Europe/Berlin").dt.cast_time_unit(unit)
    assert only(read(at=column))["at"] == AT


def test_naive_instants_need_the_time_zone():
    naive = [datetime(2026, 3, 1, 9, 15)]  # noqa: DTZ001 - naive is what is tested
    assert "no --time-zone was given" in read(at=naive).refused["expected"][0]
    assert only(read("Europe/Berlin", at=naive))["at"] == AT


def test_a_naive_instant_that_the_clocks_skipped_is_refused():
    naive = [datetime(2026, 3, 29, 2, 30)]  # noqa: DTZ001 - naive is what is tested
    assert "was skipped when" in read("Europe/Berlin", at=naive).refused["expected"][0]


def test_days_answers_and_categories_are_taken():
    change = {"record": ["R1"], "kind": ["resin_change"], "at": [AT], "tank": ["T1"]}
    row = only(of(pl.DataFrame({**change, "isolated": [True]}).cast({"tank": pl.Categorical})))
    assert (row["isolated"], row["tank"]) == (True, "T1")
    service = {"record": ["R1"], "kind": ["vessel_service"], "at": [AT], "tank": ["T1"]}
    assert only(of(pl.DataFrame({**service, "next_due": [date(2027, 1, 1)]})))["next_due"] == date(
        2027, 1, 1
    )


def test_an_id_may_be_a_whole_number():
    assert only(read(tank=[12]))["tank"] == "12"


@pytest.mark.parametrize(
    ("name", "column"),
    [
        ("outlet_tds", [True]),
        ("at", [date(2026, 3, 1)]),
        ("tank", [1.5]),
        ("note", [["a"]]),
        ("outlet_tds", [{"a": 1}]),
    ],
)
def test_a_type_that_a_field_cannot_be_made_from_is_an_error(name, column):
    with pytest.raises(IntakeError, match=rf"r\.parquet: the column '{name}' is of type"):
        read(**{name: column})


def test_what_is_not_parquet_is_an_error():
    with pytest.raises(IntakeError, match=r"r\.parquet: this is not a Parquet file"):
        read_records([WrittenFile("r.parquet", b"record,kind\n")])


def test_a_file_without_rows_is_read():
    assert of(pl.DataFrame({"record": [], "kind": [], "at": []})).read == 0


def test_a_file_that_is_broken_anywhere_is_told_and_nothing_else_happens():
    """Whichever byte is wrong: the file is read, or it is said that it cannot be."""
    stream = io.BytesIO()
    days = pl.DataFrame({"Date": ["2026-07-01T08:00Z"] * 9, "Tank": ["T-1"] * 9, "TDS": [3.5] * 9})
    days.write_parquet(stream)
    whole, told = stream.getvalue(), 0
    for at in range(4, len(whole) - 8, 7):
        broken = whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :]
        try:
            propose_map(WrittenFile("a.parquet", broken))
        except IntakeError:
            told += 1
    assert told > 10
