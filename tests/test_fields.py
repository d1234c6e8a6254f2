"""What each sort of field takes, and what it says of what it does not take."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from marshmallow import Schema, ValidationError
from marshmallow import missing as nothing

from qa_engine.fields import (
    Day,
    Identifier,
    Instant,
    Quantity,
    RecordField,
    Refusal,
    Text,
    TimeZone,
    Word,
    YesNo,
    shown,
)

TDS = Quantity("mg/L", 0, 50_000)


def refusal(field: RecordField, value: object) -> Refusal:
    with pytest.raises(ValidationError) as caught:
        field.deserialize(value)
    (message,) = caught.value.messages
    assert isinstance(message, Refusal)
    return message


@pytest.mark.parametrize(
    ("written", "number"),
    [
        ("25", 25.0),
        (" 25 ", 25.0),
        (".5", 0.5),
        ("5.", 5.0),
        ("+1e3", 1000.0),
        ("25 ppm", 25.0),
        ("25ppm", 25.0),
        ("0.3 g/L", 300.0),
        (25, 25.0),
        (Decimal("2.5"), 2.5),
        (50_000, 50_000.0),
    ],
)
def test_a_quantity_is_a_number_in_the_unit_of_its_field(written, number):
    assert TDS.deserialize(written) == number


@pytest.mark.parametrize("written", ["NaN", "inf", "-Infinity", "", "  ", float("nan"), None])
def test_what_holds_no_measurement_is_missing(written):
    assert TDS.deserialize(written) is nothing


@pytest.mark.parametrize(
    ("written", "why"),
    [
        ("1_000", "is not a number"),
        ("1,000", "is not a number"),
        ("1.000.000", "is not a number"),
        ("٣", "is not a number"),
        ("0x10", "has a wrong unit: 'x10' is not a unit known here"),
        ("1e400", "is too large to be a measurement"),
        ("1e308 g/L", "is too large to be a measurement"),
        (10**400, "is too large to be a measurement"),
        ("-0.1", "lies below 0 mg/L"),
        ("50000.1", "lies above 50000 mg/L"),
        ("3 psi", "has a wrong unit: psi and mg/L do not measure the same thing"),
        (True, "is not a number"),
        ([1], "is not a number"),
    ],
)
def test_a_number_that_cannot_be_is_refused(written, why):
    assert refusal(TDS, written).why.startswith(why)


def test_a_minus_zero_is_a_zero():
    assert str(TDS.deserialize("-0")) == "0.0"


def test_a_count_is_a_whole_number():
    rinses = Quantity("count", 0, 10_000, whole=True)
    assert rinses.deserialize("3.0") == 3.0
    assert refusal(rinses, "3.5") == (
        "'3.5' is not a whole number; expected a whole number from 0 to 10000"
    )


def test_a_refusal_keeps_its_parts():
    message = refusal(TDS, "-3")
    assert message == (
        "'-3' lies below 0 mg/L; expected a number in mg/L, or one with its unit, from 0 to 50000"
    )
    assert (message.fault, message.why) == ("'-3' lies below 0 mg/L", "lies below 0 mg/L")
    assert message.expected == TDS.expected


@pytest.mark.parametrize(
    "field", [Identifier(required=True), Quantity("1", 0, 14, required=True), Day(required=True)]
)
@pytest.mark.parametrize("empty", [nothing, None, "", " "])
def test_a_required_field_says_what_is_missing(field, empty):
    assert refusal(field, empty) == f"missing; expected {field.expected}"


def test_a_required_number_may_not_be_nan():
    assert refusal(Quantity("1", 0, 14, required=True), "NaN").why == "missing"


def test_a_schema_leaves_out_what_is_missing():
    assert Schema.from_dict({"a": TDS, "b": Text()})().load({"a": "NaN", "b": ""}) == {}


@pytest.mark.parametrize("written", ["T-1", "Ä 2", "x" * 64, "車-7"])
def test_an_id_is_printable(written):
    assert Identifier().deserialize(written) == written


@pytest.mark.parametrize(
    ("written", "why"),
    [
        (" T1", "has a space at an end"),
        ("T1\n", "has a space at an end"),
        ("T\x001", "has a character that cannot be printed"),
        ("T\u202e1", "has a character that cannot be printed"),
        ("T\u200b1", "has a character that cannot be printed"),
        ("x" * 65, "has 65 characters"),
        (1, "is not a text"),
    ],
)
def test_an_id_that_could_be_mistaken_for_another_is_refused(written, why):
    assert refusal(Identifier(), written).why == why


def test_a_text_may_have_lines_but_nothing_that_steers_a_screen():
    assert Text().deserialize("two\n\tlines") == "two\n\tlines"
    assert refusal(Text(), "\x1b[2J").why == "has a control character"
    assert refusal(Text(), "x" * 2001).why == "has 2001 characters"


def test_a_word_is_one_of_its_list_and_a_misspelt_one_gets_a_hint():
    sampled = Word("flowing", "first flush")
    assert sampled.deserialize("first flush") == "first flush"
    assert refusal(sampled, "flowin") == (
        "'flowin' is not known (did you mean 'flowing'?); expected one of: flowing, first flush"
    )
    assert refusal(sampled, "zzz").why == "is not known"


@pytest.mark.parametrize(
    ("written", "answer"),
    [("yes", True), ("TRUE", True), (True, True), ("No", False), ("false", False), (False, False)],
)
def test_yes_and_no_are_taken_in_any_case(written, answer):
    assert YesNo().deserialize(written) is answer


@pytest.mark.parametrize("written", ["1", "y", "ye\u017f", 1])
def test_nothing_else_is_yes_or_no(written):
    assert refusal(YesNo(), written).why == "is neither yes nor no"


def test_a_day_is_one_of_the_calendar():
    assert Day().deserialize("2028-02-29") == date(2028, 2, 29)
    assert Day().deserialize(date(2028, 2, 29)) == date(2028, 2, 29)
    assert refusal(Day(), "2026-02-29").why == "is not a day of the calendar"
    assert refusal(Day(), "2026-2-9").why == "is not a day"
    assert refusal(Day(), "0226-02-09").why == "is not a day"
    assert refusal(Day(), date(226, 2, 9)).why == "is no likely day"
    assert refusal(Day(), datetime(2026, 2, 9, tzinfo=UTC)).why == "is not a day"


@pytest.mark.parametrize(
    "written",
    [
        "2026-03-01T08:15:00Z",
        "2026-03-01t08:15z",
        "2026-03-01 09:15:00.000+01:00",
        "2026-03-01T02:45:00-05:30",
        datetime(2026, 3, 1, 8, 15, tzinfo=UTC),
    ],
)
def test_an_instant_is_told_with_its_offset(written):
    assert Instant().deserialize(written) == datetime(2026, 3, 1, 8, 15, tzinfo=UTC)


@pytest.mark.parametrize(
    ("written", "why"),
    [
        ("2026-03-01T08:15:00", "has no offset and no --time-zone was given"),
        ("2026-02-29T08:15:00Z", "is not a time of the calendar"),
        ("2026-03-01T24:00:00Z", "is not a time"),
        ("2026-03-01T08:15:60Z", "is not a time"),
        ("2026-03-01T08:15:00+01:75", "is not a time"),
        ("2026-03-01", "is not a time"),
        (date(2026, 3, 1), "is not a time"),
        (datetime(1, 1, 1, tzinfo=UTC), "is not of the years 1900 to 2199"),
    ],
)
def test_what_is_no_instant_is_refused(written, why):
    assert refusal(Instant(), written).why == why


@pytest.mark.parametrize(
    ("local", "why"),
    [
        ("2026-03-29T02:30", "was skipped when the clocks of Europe/Berlin changed"),
        ("2026-10-25T02:30", "came twice when the clocks of Europe/Berlin changed"),
    ],
)
def test_a_local_time_must_have_been_shown_once(local, why):
    assert refusal(Instant(time_zone="Europe/Berlin"), local).why == why


def test_a_time_zone_is_one_of_the_database():
    assert TimeZone().deserialize("Europe/Berlin") == "Europe/Berlin"
    assert refusal(TimeZone(), "Europe/Berlinn").why.endswith("(did you mean 'Europe/Berlin'?)")
    assert refusal(TimeZone(), "../etc/passwd").why == "is not known"
    assert refusal(TimeZone(), ["UTC"]).why.startswith("is not known")


def test_a_message_shows_a_value_short_and_harmless():
    assert shown("x" * 100) == "x" * 57 + "..."
    assert shown("\x1b[2J") == "\\x1b[2J"
    assert refusal(TDS, "5 \x1b[2J").isprintable()
