"""The canonical form of entries: written out, and alike whichever way it is made."""

import json
import struct
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256

import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from qa_engine.book.canonical import (
    Submission,
    digest_of,
    digests_of,
    digests_of_texts,
    entry_texts,
    record_bodies,
    submission_texts,
)
from qa_engine.book.canonical_json import canonical_json, number_text
from qa_engine.errors import BookError
from qa_engine.fields import Day, Instant, Quantity, YesNo
from qa_engine.records import KINDS

# Instants by hand: 2026-03-01 is day 20513 of 1970 on; 20513 * 86400 + 8 * 3600 + 15 * 60 =
# 1772352900 s. Digests by `printf '%s' FORM | sha256sum`.
MORNING = datetime(2026, 3, 1, 8, 15, tzinfo=UTC)
ENTERED = datetime(2026, 3, 1, 8, 16, 40, tzinfo=UTC)
VECTORS = {
    "a reading": (
        ("reading", "R-1", {"at": MORNING, "tank": "T-07", "inlet_tds": 312.5, "outlet_tds": 4.0}),
        {"submission": Submission("k-1", ENTERED, "p-3")},
        '{"body":{"at":1772352900000000,"inlet_tds":312.5,"outlet_tds":4,"tank":"T-07"},'
        '"id":"R-1","kind":"reading",'
        '"submission":{"entered_at":1772353000000000,"entered_by":"p-3","key":"k-1"}}',
        "2cf523f0e2aa38761cba6192fed93607e6d0c99bc4ab5c26f2522bbfbceee58f",
    ),
    "a correction with marks, a line break and letters beyond ASCII": (
        (
            "out_of_use",
            "R-2",
            {
                "at": MORNING + timedelta(microseconds=1),
                "item": "T-07",
                "note": 'head "A"\nwept \\ Größe 2 µm',
                "reason": "leak",
            },
        ),
        {
            "submission": Submission("k-2", ENTERED, "p-3", "log 3.csv", "late"),
            "supersedes": 17,
            "reason": "tank was misread",
        },
        '{"body":{"at":1772352900000001,"item":"T-07",'
        '"note":"head \\"A\\"\\nwept \\\\ Größe 2 µm","reason":"leak"},"id":"R-2",'
        '"kind":"out_of_use","reason":"tank was misread","submission":{'
        '"entered_at":1772353000000000,"entered_by":"p-3","key":"k-2","reason":"late",'
        '"source":"log 3.csv"},"supersedes":17}',
        "2a3d6bea84daa493c9f9c88c073aba81d91b296d50fb4833fd2a80a263bd531e",
    ),
    "a day, a small number and an instant before 1970": (
        (
            "vessel_service",
            "R-3",
            {
                "at": datetime(1969, 12, 31, 23, 59, 59, 999_999, tzinfo=UTC),
                "tank": "T-07",
                "next_due": date(2027, 3, 1),
                "result": "fit",
                "test_pressure": 1e-7,
            },
        ),
        {"submission": Submission("k-3", datetime(1970, 1, 1, tzinfo=UTC), "p-3")},
        '{"body":{"at":-1,"next_due":"2027-03-01","result":"fit","tank":"T-07",'
        '"test_pressure":1e-7},"id":"R-3","kind":"vessel_service",'
        '"submission":{"entered_at":0,"entered_by":"p-3","key":"k-3"}}',
        "369370e24d9a88756225b3114b809279390dfc5405b596ff16b1e6e73f8c3158",
    ),
    "yes, no and a number on the edge of an exponent": (
        (
            "resin_change",
            "R-4",
            {
                "at": MORNING,
                "tank": "T-07",
                "head_closed_to_instruction": True,
                "isolated": False,
                "resin_volume": 1e-6,
            },
        ),
        {"submission": Submission("k-4", ENTERED, "p-3")},
        '{"body":{"at":1772352900000000,"head_closed_to_instruction":true,"isolated":false,'
        '"resin_volume":0.000001,"tank":"T-07"},"id":"R-4","kind":"resin_change",'
        '"submission":{"entered_at":1772353000000000,"entered_by":"p-3","key":"k-4"}}',
        "b0029d2feb29ca623cdce37cbad6ad33b60355db63b8d837d838fe4bc427ac5b",
    ),
    "an entry that is no record": (
        ("rule_set", "house/2026-04", {"title": "House rules", "limits": [1.5, 20, None]}),
        {"submission": Submission("k-5", ENTERED, "p-3")},
        '{"body":{"limits":[1.5,20,null],"title":"House rules"},"id":"house/2026-04",'
        '"kind":"rule_set",'
        '"submission":{"entered_at":1772353000000000,"entered_by":"p-3","key":"k-5"}}',
        "520515cf991c23b9bba130e68f68ab28d4e3f95a183f0dacf68d1bb93a0e0ef2",
    ),
}

# The finite rows of RFC 8785, appendix B, but for minus zero.
LISTED = """
0000000000000000 0                      0000000000000001 5e-324
8000000000000001 -5e-324                7fefffffffffffff 1.7976931348623157e+308
ffefffffffffffff -1.7976931348623157e+308 4340000000000000 9007199254740992
c340000000000000 -9007199254740992      4430000000000000 295147905179352830000
44b52d02c7e14af5 9.999999999999997e+22  44b52d02c7e14af6 1e+23
44b52d02c7e14af7 1.0000000000000001e+23 444b1ae4d6e2ef4e 999999999999999700000
444b1ae4d6e2ef4f 999999999999999900000  444b1ae4d6e2ef50 1e+21
3eb0c6f7a0b5ed8c 9.999999999999997e-7   3eb0c6f7a0b5ed8d 0.000001
41b3de4355555553 333333333.3333332      41b3de4355555554 333333333.33333325
41b3de4355555555 333333333.3333333      41b3de4355555556 333333333.3333334
41b3de4355555557 333333333.33333343     becbf647612f3696 -0.0000033333333333333333
43143ff3c1cb0959 1424953923781206.2
"""
NUMBERS = dict(zip(LISTED.split()[::2], LISTED.split()[1::2], strict=True))


@pytest.mark.parametrize(
    ("call", "options", "form", "digest"), list(VECTORS.values()), ids=list(VECTORS)
)
def test_a_digest_written_out_is_that_of_its_form(call, options, form, digest):
    assert sha256(form.encode()).hexdigest() == digest
    assert digest_of(*call, **options).hex() == digest


@pytest.mark.parametrize(
    ("call", "options", "form", "digest"), list(VECTORS.values()), ids=list(VECTORS)
)
def test_a_frame_gives_the_form_written_out(call, options, form, digest):
    kind, name, body = call
    frame = pl.DataFrame([{"record": name, **body}]) if kind in KINDS else None
    bodies = pl.Series([canonical_json(body)]) if frame is None else record_bodies(frame, kind)
    supersedes = pl.Series([options.get("supersedes")], dtype=pl.Int64)
    texts = entry_texts(
        pl.Series([kind]),
        pl.Series([name]),
        bodies,
        options["submission"],
        supersedes=supersedes,
        reasons=options.get("reason"),
    )
    assert texts.to_list() == [form]
    assert digests_of_texts(texts)[0].hex() == digest


@pytest.mark.parametrize(("bits", "text"), list(NUMBERS.items()), ids=list(NUMBERS))
def test_numbers_are_written_as_the_scheme_lists_them(bits, text):
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical_json(number) == text
    body = record_bodies(pl.DataFrame({"counter": [2.5, number]}), "rinse")
    assert body.to_list() == ['{"counter":2.5}', f'{{"counter":{text}}}']


def test_members_are_sorted_as_the_scheme_sorts_them():
    # RFC 8785, section 3.2.3: by UTF-16 code units, so that U+1F600 (which begins D83D) comes
    # before U+FB33.
    names = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\x80", "\u00f6"]
    written = json.loads(canonical_json(dict.fromkeys(names, 0)), object_pairs_hook=list)
    assert [name for name, _ in written] == ["\r", "1", "\x80", "ö", "\u20ac", "😀", "\ufb33"]


def test_what_json_cannot_say_is_refused_with_the_value():
    for value, shown in (({1: 2}, "1"), ({2.5, 3}, "{2.5, 3}"), (float("inf"), "inf")):
        with pytest.raises(BookError, match=shown.replace("{", "\\{")):
            canonical_json(value)
    with pytest.raises(BookError, match="9007199254740992 is too large"):
        canonical_json(2**53)
    with pytest.raises(BookError, match="half a character"):
        canonical_json("\ud83d")


TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
VALUES = {
    Quantity: st.floats(allow_nan=False, allow_infinity=False),
    Instant: st.integers(-2_000_000_000_000_000, 7_000_000_000_000_000).map(
        lambda us: datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=us)
    ),
    Day: st.dates(date(1900, 1, 1), date(2199, 12, 31)),
    YesNo: st.booleans(),
}


def values_of(field):
    return st.none() | VALUES.get(type(field), TEXTS)


@st.composite
def rows(draw):
    kind = draw(st.sampled_from(list(KINDS)))
    fields = {n: f for n, f in KINDS[kind].fields.items() if n not in ("record", "kind")}
    row = st.fixed_dictionaries({n: values_of(f) for n, f in fields.items()} | {"record": TEXTS})
    schema = {n: f.dtype for n, f in fields.items()} | {"record": pl.String()}
    records = draw(st.lists(row, min_size=1, max_size=4))
    return kind, records, pl.DataFrame(records, schema=schema)


SUBMISSIONS = st.builds(
    Submission, TEXTS, VALUES[Instant], TEXTS, st.none() | TEXTS, st.none() | TEXTS
)


@settings(deadline=None, max_examples=150)
@given(rows(), SUBMISSIONS, st.none() | st.integers(1, 10**9), st.none() | TEXTS)
def test_the_digests_of_a_frame_are_those_of_its_rows(drawn, submission, supersedes, reason):
    kind, records, frame = drawn
    numbers = pl.repeat(supersedes, frame.height, dtype=pl.Int64, eager=True)
    together = digests_of(frame, kind, submission, supersedes=numbers, reasons=reason)
    assert together == [
        digest_of(kind, row["record"], row, submission, supersedes=supersedes, reason=reason)
        for row in records
    ]


@settings(deadline=None, max_examples=50)
@given(rows(), SUBMISSIONS)
def test_what_the_book_stores_gives_the_same_digests_as_what_came_in(drawn, submission):
    kind, _, frame = drawn
    stored = frame.with_columns(
        pl.col(pl.Datetime).dt.epoch("us"), pl.col(pl.Boolean).cast(pl.Int64)
    )
    texts = pl.repeat(submission.text, frame.height, eager=True)
    assert digests_of(stored, kind, texts) == digests_of(frame, kind, submission)
    for days in (pl.col(pl.Date).cast(pl.String), pl.col(pl.Date).cast(pl.Int64)):
        assert digests_of(stored.with_columns(days), kind, texts) == digests_of(
            frame, kind, submission
        )


@settings(deadline=None)
@given(st.lists(SUBMISSIONS, min_size=1, max_size=5))
def test_the_submissions_of_a_frame_are_written_as_one_by_one(submissions):
    schema = {
        "key": pl.String,
        "entered_at": pl.Datetime("us", "UTC"),
        "entered_by": pl.String,
        "source": pl.String,
        "reason": pl.String,
    }
    frame = pl.DataFrame([vars(one) for one in submissions], schema=schema)
    assert submission_texts(frame).to_list() == [one.text for one in submissions]


@settings(deadline=None, max_examples=300)
@given(st.floats(allow_nan=False, allow_infinity=False))
@example(1e15)
@example(1e-4)
@example(0.00009999999999999999)
@example(-999999999999999.9)
def test_a_number_reads_back_as_itself_and_is_written_once(number):
    text = canonical_json(number)
    assert struct.pack(">d", float(text)) == struct.pack(">d", number)
    assert record_bodies(pl.DataFrame({"ph": [number]}), "water_analysis")[0] == f'{{"ph":{text}}}'


@pytest.mark.parametrize(
    ("stored", "text"),
    [(-0.0, "-0"), (float("nan"), "NaN"), (float("inf"), "Infinity"), (-float("inf"), "-Infinity")],
)
def test_numbers_that_never_come_in_are_still_told_apart(stored, text):
    assert number_text(stored) == text
    assert record_bodies(pl.DataFrame({"ph": [stored]}), "water_analysis")[0] == f'{{"ph":{text}}}'


def test_stored_numbers_that_are_no_yes_no_or_day_are_still_told_apart():
    frame = pl.DataFrame({"replaced": [0, 1, 2, None]})
    assert record_bodies(frame, "seal_service").to_list() == [
        '{"replaced":false}',
        '{"replaced":true}',
        '{"replaced":2}',
        "{}",
    ]
    frame = pl.DataFrame({"next_due": [0, 2**40, None]})
    assert record_bodies(frame, "vessel_service").to_list() == [
        '{"next_due":"1970-01-01"}',
        '{"next_due":1099511627776}',
        "{}",
    ]


def test_a_column_that_nobody_filled_does_not_change_a_digest():
    submission = Submission("k-1", ENTERED, "p-3")
    old = pl.DataFrame({"record": ["R-1"], "at": [MORNING], "tank": ["T-07"]})
    new = old.with_columns(colour_front=pl.lit(None, pl.Float64))
    assert digests_of(old, "reading", submission) == digests_of(new, "reading", submission)
