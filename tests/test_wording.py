"""Wording: what people read is rounded and named, and cannot reach anything but ready texts."""

import polars as pl
import pytest

from qa_engine.facts import Fact
from qa_engine.wording import measured, message, shown, shown_number, shown_records


def told(expression, **columns):
    """Return what an expression gives for one row."""
    return pl.DataFrame(columns).select(expression.alias("told"))["told"].to_list()


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (31.0, "31 mg/L"),
        (19.9, "19.9 mg/L"),
        (0.0, "0 mg/L"),
        (-0.0, "0 mg/L"),
        (0.123456, "0.1235 mg/L"),
        (12345.6, "12346 mg/L"),
        (110.00000000000001, "110 mg/L"),
        (1e-7, "1e-7 mg/L"),
    ],
)
def test_a_number_is_shown_with_the_digits_that_count_and_its_unit(number, text):
    assert told(shown_number(pl.col("x"), "mg/L"), x=[number]) == [text]


@pytest.mark.parametrize(
    ("days", "text"),
    [(1.0, "1 day"), (2.5, "2.5 days"), (545.24, "545 days"), (0.0, "0 days")],
)
def test_days_are_a_word_and_hours_do_not_matter_after_ten(days, text):
    assert told(shown_number(pl.col("x"), "d"), x=[days]) == [text]


@pytest.mark.parametrize(("days", "text"), [(-69, "69 days ago"), (0, "today"), (1, "in 1 day")])
def test_days_to_a_date_are_told_from_today(days, text):
    fact = Fact("due_in", "number", "days to a date", "d", per_day=-1)
    assert told(shown(fact), due_in=[float(days)]) == [text]


def test_a_count_and_a_fraction_have_no_unit_to_show():
    assert told(shown_number(pl.col("x"), "count"), x=[12.0]) == ["12"]
    assert told(shown_number(pl.col("x"), "1"), x=[0.5]) == ["0.5"]


def test_what_is_missing_is_said_to_be_not_recorded():
    fact = Fact("outlet_tds", "number", "outlet", "mg/L")
    assert told(shown(fact), outlet_tds=pl.Series([None], dtype=pl.Float64)) == ["not recorded"]


def test_yes_and_no_are_words():
    assert told(shown(Fact("leak", "yes/no", "leak")), leak=[True, False]) == ["yes", "no"]


def test_a_long_list_of_records_names_the_first_and_counts_the_rest():
    records = [[f"R-{n}" for n in range(7)], ["R-1"], []]
    assert told(shown_records(pl.col("r")), r=pl.Series(records, dtype=pl.List(pl.String))) == [
        "R-0, R-1, R-2, R-3, R-4 and 2 more",
        "R-1",
        "none on record",
    ]


def test_placeholders_are_names_of_ready_texts_and_nothing_more():
    values = {"outlet": pl.lit("31 mg/L")}
    assert told(message("Read {outlet}; {{so}} {nobody}.", values), x=[1]) == [
        "Read 31 mg/L; {so} not recorded."
    ]
    reaching = message("{outlet.__class__}", {"outlet": pl.lit("31")})
    assert told(reaching, x=[1]) == ["not recorded"]


def test_measured_values_are_json_with_unit_and_escaped_text():
    facts = {
        "outlet_tds": Fact("outlet_tds", "number", "outlet", "mg/L"),
        "grade": Fact("grade", "words", "grade"),
    }
    assert told(measured(facts), outlet_tds=[31.0], grade=['a "b"\n']) == [
        '{"outlet_tds":{"value":31.0,"unit":"mg/L"},"grade":{"value":"a \\"b\\"\\n","unit":null}}'
    ]
