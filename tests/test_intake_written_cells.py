"""Numbers, dates and times as people write them."""

from datetime import datetime, timedelta

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.intake.batch import NOT_READ
from qa_engine.intake.column_map.column_map import DAY_FIRST, MONTH_FIRST
from qa_engine.intake.column_map.written_numbers import numbers_read
from qa_engine.intake.column_map.written_times import clock_read, days_read, moments
from qa_engine.intake.proposal.decimals import sign_of
from qa_engine.intake.workbook import TYPED, letters

FORMS = ("%d.%m.%Y %H:%M", "%d/%m/%y, %I:%M %p", "%Y-%m-%dT%H:%M", "%d %b %Y %H:%M")


def read(cell, how, *ways):
    frame = pl.DataFrame({"cell": [cell]}, schema={"cell": pl.String})
    found = frame.select(how(pl.col("cell"), *ways).alias("read"))["read"][0]
    return None if found is None or found.startswith(NOT_READ) else found


@pytest.mark.parametrize(
    ("cell", "comma", "point"),
    [
        ("12", "12", "12"),
        ("12,5", "12.5", None),
        ("12.5", None, "12.5"),
        ("1.234,5 Liter", "1234.5 L", None),
        ("1,234.5 gals", None, "1234.5 gal"),
        ("1.234", "1234", "1.234"),
        ("1 234 567", "1234567", "1234567"),
        ("1'234", "1234", "1234"),
        ("12,34,5", None, None),
        ("1.23.456", None, None),
        ("-3,5", "-3.5", None),
        (",5", "0.5"[1:], None),
        ("~12", None, None),
        ("<1", None, None),
        ("5 1/2", None, None),
        ("30 \N{DEGREE SIGN}F", "30 degF", "30 degF"),
        ("410 \N{MICRO SIGN}S/cm", "410 uS/cm", "410 uS/cm"),
        ("12 buckets", "12 buckets", "12 buckets"),  # the field refuses it, and names the unit
        (TYPED + "12.5", "12.5", "12.5"),
    ],
)
def test_a_number_is_read_by_the_decimal_sign_of_its_column(cell, comma, point):
    assert read(cell, numbers_read, "comma") == comma
    assert read(cell, numbers_read, "point") == point


@pytest.mark.parametrize(
    ("text", "sign"),
    [
        ("12", ""),
        ("12,5", "comma"),
        ("1.234,5", "comma"),
        ("1,234.5", "point"),
        ("1,234,567", "point"),
        ("1,234", "?"),
        ("1.234 L", "?"),
        ("0.125", "point"),
        ("1234,567", "comma"),
        ("12.5 gal.", "point"),
    ],
)
def test_a_number_decides_on_its_sign_only_where_there_is_one_reading(text, sign):
    assert sign_of(text) == sign


@pytest.mark.parametrize(
    ("cell", "day_first", "month_first"),
    [
        ("3.4.2026", "2026-04-03", "2026-03-04"),
        ("03/04/26", "2026-04-03", "2026-03-04"),
        ("25/03/2026", "2026-03-25", None),
        ("03/25/2026", None, "2026-03-25"),
        ("2026-3-7", "2026-03-07", "2026-03-07"),
        ("14 March 2026", "2026-03-14", "2026-03-14"),
        ("Mar 14, 2026", "2026-03-14", "2026-03-14"),
        ("3. M\N{LATIN SMALL LETTER A WITH DIAERESIS}rz 2026", "2026-03-03", "2026-03-03"),
        ("Mon 3 Mar 2026", "2026-03-03", "2026-03-03"),
        ("4th July 2026", "2026-07-04", "2026-07-04"),
        ("29.02.2026", None, None),
        ("29.02.2028", "2028-02-29", None),
        ("3.4.5", None, None),
        ("soon", None, None),
    ],
)
def test_a_date_is_read_by_the_order_of_its_column(cell, day_first, month_first):
    assert read(cell, days_read, DAY_FIRST) == day_first
    assert read(cell, days_read, MONTH_FIRST) == month_first


@pytest.mark.parametrize("cell", ["3.4.2026", "25/03/2026", "03/25/2026"])
def test_no_order_is_assumed_where_the_map_says_none(cell):
    assert read(cell, days_read, "") is None


@pytest.mark.parametrize(
    ("cell", "clock"),
    [
        ("08:15", "08:15:00"),
        ("8.15 Uhr", "08:15:00"),
        ("8 am", "08:00:00"),
        ("12:05 AM", "00:05:00"),
        ("12:05 pm", "12:05:00"),
        ("1:15 p.m.", "13:15:00"),
        ("13:15 pm", None),
        ("24:00", None),
        ("8", None),
        ("08:61", None),
    ],
)
def test_a_time_of_day_is_read(cell, clock):
    assert read(cell, clock_read) == clock


@settings(deadline=None, max_examples=60)
@given(
    minutes=st.integers(0, 365 * 24 * 60 * 80),
    form=st.sampled_from(FORMS),
)
def test_an_instant_comes_back_whichever_way_it_is_written(minutes, form):
    whole = datetime.fromisoformat("2010-01-01") + timedelta(minutes=minutes)
    cells = pl.Series([whole.strftime(form), None, "no date"])
    found = moments(cells, DAY_FIRST, "").to_list()
    assert datetime.fromisoformat(found[0]) == whole
    assert found[1:] == [None, f"{NOT_READ}no date"]


def test_a_day_alone_gets_a_clock_only_where_the_map_names_one():
    cells = pl.Series(["25.03.2026", "2026-03-25"])
    assert moments(cells, DAY_FIRST, "12:00").to_list() == ["2026-03-25T12:00:00"] * 2
    assert moments(cells, DAY_FIRST, "").to_list() == [f"{NOT_READ}25.03.2026", "2026-03-25"]


@given(st.integers(0, 20_000))
def test_columns_are_lettered_as_numbers_in_base_26_without_a_zero(column):
    value = 0
    for letter in letters(column):
        value = value * 26 + ord(letter) - ord("A") + 1
    assert value == column + 1
