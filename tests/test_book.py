"""The record book keeps everything, once, with what was known when; on SQLite and PostgreSQL."""

from datetime import UTC, datetime, timedelta
from itertools import count
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select, text

from qa_engine.book import Conflict, create_book, open_book
from qa_engine.book.schema import LOG, entries, submissions
from qa_engine.errors import BookError
from qa_engine.intake import WrittenFile, read_records
from qa_engine.records import KINDS
from qa_engine.register import TABLES, Register

BEGAN = datetime(2026, 3, 1, 8, tzinfo=UTC)
KEYS = count(1)


def frame(kind, *rows):
    """Return records of a kind as the intake gives them."""
    schema = {name: field.dtype for name, field in KINDS[kind].fields.items()}
    usual = {"at": BEGAN, KINDS[kind].item: "T1", "kind": kind}
    return pl.DataFrame([{**usual, **row} for row in rows], schema=schema)


def reading(record, outlet_tds=12.5, **rest):
    return {"record": record, "outlet_tds": outlet_tds, **rest}


def entered(after_h=1, by="P1", **rest):
    """Return how something comes in, some hours after the book was made."""
    key = rest.pop("key", f"key {next(KEYS)}")
    return {"key": key, "entered_at": BEGAN + timedelta(hours=after_h), "entered_by": by, **rest}


@pytest.fixture
def book(book_url):
    with create_book(
        book_url,
        operator="Invented Rinsing",
        time_zone="Europe/Paris",
        entered_at=BEGAN,
        entered_by="P1",
        book_id="0b",
    ) as made:
        yield made


def outlets(frames):
    """Return the outlet readings by record."""
    return dict(frames["reading"].select("record", "outlet_tds").iter_rows())


def test_a_new_book_has_one_entry_that_says_whose_it_is(book, book_url):
    assert book.size() == 1
    assert book.bodies("book") == {
        "0b": {"operator": "Invented Rinsing", "time_zone": "Europe/Paris", "canonical_form": "1"}
    }
    with open_book(book_url) as again:
        assert again.root() == book.root()
        assert again.about()["id"] == "0b"
        assert again.frames() == {}
        assert (again.register().operator, again.register().zone.key) == (
            "Invented Rinsing",
            "Europe/Paris",
        )


def test_records_come_back_as_the_intake_gave_them(book):
    rows = [
        "record,kind,at,van,tank,by,note,outlet_tds,sampled,replaced,next_due,item,rinses",
        "R3,reading,2026-02-03T08:00:00Z,V1,T2,P1,\"é \U0001f4a7, 'quoted'\",0.1,flowing,,,,",
        "R1,reading,2026-02-03T08:00:00.123456Z,V1,T1,P1,,31.700000000000003,first flush,,,,",
        "R2,reading,2026-02-01T08:00:00+01:00,,T1,,,,,,,,",
        "S1,seal_service,2026-02-03T08:00:00Z,V1,T1,P1,,,,yes,,,",
        "S2,seal_service,2026-02-03T08:00:00Z,V1,T1,P1,,,,no,,,",
        "E1,vessel_service,2026-02-03T08:00:00Z,V1,T1,P1,,,,,2028-02-29,,",
        "O1,out_of_use,2026-02-03T08:00:00Z,,,P1,,,,,,T9,",
        "X1,rinse,1901-01-01T00:00:00Z,V1,T1,P1,,,,,,,3",
    ]
    given_ = read_records([WrittenFile("day.csv", "\n".join(rows).encode())])
    assert given_.accepted == 8
    book.add(given_.frames, **entered())
    kept = book.frames()
    assert list(kept) == [kind for kind in KINDS if kind in given_.frames]
    for kind, one in kept.items():
        assert one.equals(given_.frames[kind].select(one.columns)), kind
        assert one.schema == given_.frames[kind].select(one.columns).schema
        dropped = set(given_.frames[kind].columns) - set(one.columns)
        assert all(given_.frames[kind][name].is_null().all() for name in dropped)


def test_a_key_that_came_before_adds_nothing_and_gets_its_first_receipt(book):
    first = book.add({"reading": frame("reading", reading("R1"))}, **entered(key="form 1"))
    again = book.add({"reading": frame("reading", reading("R9"))}, **entered(9, key="form 1"))
    assert (first.submission, first.first_entry, first.entries, first.known) == (2, 2, 1, False)
    assert (again.submission, again.first_entry, again.entries) == (2, 2, 1)
    assert again.root == first.root == book.root()
    assert again.known
    assert book.size() == 2
    assert book.receipt("form 1") == again
    assert book.receipt("form 2") is None


def test_a_record_that_the_book_has_word_for_word_adds_nothing(book):
    book.add({"reading": frame("reading", reading("R1"), reading("R2"))}, **entered())
    root = book.root()
    receipt = book.add({"reading": frame("reading", reading("R1"), reading("R2"))}, **entered(2))
    assert (receipt.entries, receipt.repeated, receipt.conflicts) == (0, 2, ())
    assert book.root() == receipt.root == root


def test_a_record_that_differs_is_refused_and_the_rest_is_taken(book):
    book.add({"reading": frame("reading", reading("R1"), reading("R2"))}, **entered())
    other = frame("reading", reading("R1", 13.5, van="V7"), reading("R2"), reading("R3"))
    moved = frame("rinse", {"record": "R2"})
    receipt = book.add({"reading": other.filter(pl.col("record") != "R2")}, **entered(2))
    assert (receipt.entries, receipt.repeated) == (1, 0)
    assert receipt.conflicts == (Conflict("R1", "reading", ("van", "outlet_tds"), 2),)
    assert book.add({"rinse": moved}, **entered(3)).conflicts == (
        Conflict("R2", "rinse", ("kind",), 3),
    )
    assert outlets(book.frames()) == {"R1": 12.5, "R2": 12.5, "R3": 12.5}


def test_a_correction_takes_the_place_of_the_record_and_says_who_and_why(book):
    book.add({"reading": frame("reading", reading("R1"), reading("R2"))}, **entered(1))
    receipt = book.correct(
        {"reading": frame("reading", reading("R1", 21.5), reading("R2"))},
        **entered(5, "P2", reason="digits swapped"),
    )
    assert (receipt.entries, receipt.repeated) == (1, 1)
    assert outlets(book.frames()) == {"R1": 21.5, "R2": 12.5}
    with book.reading() as held:
        row = held.execute(
            select(entries.c.supersedes, entries.c.reason, submissions.c.entered_by)
            .join(submissions, submissions.c.submission == entries.c.submission)
            .where(entries.c.entry == receipt.first_entry)
        ).one()
    assert tuple(row) == (2, "digits swapped", "P2")


def test_the_latest_version_is_the_one_that_is_corrected(book):
    book.add({"reading": frame("reading", reading("R1", 1))}, **entered(1))
    for tds in (2.0, 3.0):
        book.correct({"reading": frame("reading", reading("R1", tds))}, **entered(2, reason="."))
    with book.reading() as held:
        query = select(entries.c.supersedes).where(entries.c.id == "R1").order_by(entries.c.entry)
        assert held.execute(query).scalars().all() == [None, 2, 3]
    assert outlets(book.frames()) == {"R1": 3.0}


def test_a_correction_may_make_another_kind_of_a_record(book):
    book.add({"reading": frame("reading", reading("R1"))}, **entered(1))
    book.correct(
        {"rinse": frame("rinse", {"record": "R1", "rinses": 2.0})},
        **entered(2, reason="wrong form"),
    )
    assert {kind: one["record"].to_list() for kind, one in book.frames().items()} == {
        "rinse": ["R1"]
    }


def test_what_is_not_in_the_book_cannot_be_corrected_and_nothing_is(book):
    book.add({"reading": frame("reading", reading("R1"))}, **entered(1))
    with pytest.raises(BookError, match=r"nothing to correct: R2; nothing was added"):
        book.correct(
            {"reading": frame("reading", reading("R1", 3), reading("R2"))},
            **entered(2, reason="."),
        )
    assert outlets(book.frames()) == {"R1": 12.5}


def test_a_file_that_was_mended_adds_what_is_new_and_corrects_what_differs(book):
    book.add({"reading": frame("reading", reading("R1"), reading("R2"))}, **entered(1))
    mended = frame("reading", reading("R1", 2), reading("R2"), reading("R3"))
    found = book.compare({"reading": mended})
    assert found.repeated == 1
    assert found.new["reading"]["record"].to_list() == ["R3"]
    assert [one.record for one in found.conflicts()] == ["R1"]
    receipt = book.add({"reading": mended}, **entered(2, reason="mended"), differing="correct")
    assert (receipt.entries, receipt.repeated, receipt.conflicts) == (2, 1, ())
    assert outlets(book.frames()) == {"R1": 2.0, "R2": 12.5, "R3": 12.5}


def test_what_was_known_at_an_instant_can_be_asked_for_good(book):
    book.add({"reading": frame("reading", reading("R1"))}, **entered(1))
    book.correct({"reading": frame("reading", reading("R1", 3))}, **entered(5, reason="."))
    book.add({"reading": frame("reading", reading("R2"))}, **entered(9))

    def known(after_h, **rest):
        return book.frames(known_at=BEGAN + timedelta(hours=after_h, **rest))

    assert known(0.5) == {}
    assert outlets(known(1)) == outlets(known(4.99)) == {"R1": 12.5}
    assert outlets(known(5)) == outlets(known(8.99)) == {"R1": 3.0}
    assert outlets(known(9)) == outlets(book.frames()) == {"R1": 3.0, "R2": 12.5}


def test_clocks_that_differ_do_not_confuse_what_was_known_when(book):
    book.add({"reading": frame("reading", reading("R1"))}, **entered(9))
    book.add({"reading": frame("reading", reading("R2"))}, **entered(1))
    book.correct({"reading": frame("reading", reading("R2", 3))}, **entered(7, reason="."))
    book.add({"reading": frame("reading", reading("R3"))}, **entered(2))
    known = [book.frames(known_at=BEGAN + timedelta(hours=after)) for after in (1, 2, 7, 9)]
    assert [outlets(one) for one in known] == [
        {"R2": 12.5},
        {"R2": 12.5, "R3": 12.5},
        {"R2": 3.0, "R3": 12.5},
        {"R1": 12.5, "R2": 3.0, "R3": 12.5},
    ]


def test_records_can_say_when_they_were_first_entered(book):
    book.add({"reading": frame("reading", reading("R1"))}, **entered(1))
    book.correct({"reading": frame("reading", reading("R1", 3))}, **entered(5, reason="."))
    book.add({"reading": frame("reading", reading("R2"))}, **entered(9))
    told = book.frames(entered=True)["reading"].select("record", "entered_at")
    assert dict(told.iter_rows()) == {
        "R1": BEGAN + timedelta(hours=1),
        "R2": BEGAN + timedelta(hours=9),
    }
    book.add({"reading": book.frames(entered=True)["reading"]}, **entered(10))
    assert book.size() == 4


def test_only_what_is_about_some_items_is_read_where_that_is_asked(book):
    book.add(
        {
            "reading": frame(
                "reading",
                reading("R1", van="V1", meter="M1"),
                reading("R2", tank="T2", van="V1"),
                reading("R3", tank="T3", meter="M1"),
            ),
            "meter_check": frame("meter_check", {"record": "C1", "meter": "M1"}),
            "complaint": frame("complaint", {"record": "K1", "van": "V1"}),
            "out_of_use": frame("out_of_use", {"record": "O1", "item": "T2"}),
        },
        **entered(),
    )

    def found(**asked):
        return sorted(r for one in book.frames(**asked).values() for r in one["record"].to_list())

    assert found(items=["T1"]) == ["R1"]
    assert found(items=["T2", "M1"]) == ["C1", "O1", "R2"]
    assert found(items={"van": ["V1"]}) == ["K1", "R1", "R2"]
    assert found(items={"tank": ["T3"], "meter": ["M1"]}) == ["C1", "R1", "R3"]
    assert found(items=[]) == found(items={"tank": []}) == found(items=["T9"]) == []
    assert found(items=["T2"], kinds=["reading"]) == ["R2"]
    assert found(items=["V1", *(f"T{number}" for number in range(2, 9_000))]) == [
        "K1",
        "O1",
        "R2",
        "R3",
    ]


def test_a_register_comes_back_as_it_was_and_as_it_was_known(book):
    zone = book.register().zone
    rows = {
        "vans": [{"van": "V1", "base": "north"}],
        "tanks": [
            {"tank": "T1", "van": "V1", "vessel_volume": 20.5, "in_service_on": BEGAN.date()},
            {"tank": "T1", "van": "V2", "from": datetime(2026, 3, 29, tzinfo=UTC).date()},
        ],
        "meters": [{"meter": "M1", "factor": 0.5, "compensation": False}],
    }
    tables = {name: TABLES[name].frame(table, zone) for name, table in rows.items()}
    first = Register("Invented Rinsing", zone, tables)
    book.put_register(first, **entered(1))
    assert book.put_register(first, **entered(2)).entries == 0
    book.put_register(Register("Invented Rinsing II", zone, {}), **entered(3))
    was = book.register(known_at=BEGAN + timedelta(hours=2))
    assert was.operator == "Invented Rinsing"
    for name in TABLES:
        assert was.table(name).equals(first.table(name)), name
    assert book.register().operator == "Invented Rinsing II"


def test_the_register_of_a_place_without_midnight_comes_back_on_its_day(book):
    # In Havana the clocks skipped the midnight with which 10 March 2024 would have begun.
    zone = ZoneInfo("America/Havana")
    rows = [{"van": "V1", "from": datetime(2024, 3, 10, tzinfo=UTC).date()}]
    given_ = Register("x", zone, {"vans": TABLES["vans"].frame(rows, zone)})
    book.put_register(given_, **entered(1))
    assert book.register().table("vans").equals(given_.table("vans"))


def test_an_entry_that_is_no_record_takes_the_place_of_the_one_before(book):
    for after_h, term in ((1, 7), (2, 7), (3, 14)):
        book.put("permission", "W-1", {"days": term}, **entered(after_h))
    book.put("permission", "W-2", {"days": 1.5, "says": "é"}, **entered(4))
    assert book.bodies("permission") == {"W-1": {"days": 14}, "W-2": {"days": 1.5, "says": "é"}}
    assert book.bodies("permission", BEGAN + timedelta(hours=2)) == {"W-1": {"days": 7}}
    assert book.bodies("action") == {}
    assert book.size() == 4
    with pytest.raises(BookError, match="no kind of entry 'permision'"):
        book.put("permision", "W-1", {}, **entered())


@pytest.mark.parametrize(
    ("frames", "says"),
    [
        ({"readings": frame("reading", reading("R1"))}, "no kind of record 'readings'"),
        ({"reading": frame("reading", reading("R1")).with_columns(ph=1.0)}, "no column 'ph'"),
        (
            {"reading": frame("reading", reading("R1")).cast({"outlet_tds": pl.Float32})},
            "reading.outlet_tds is Float32 and should be Float64",
        ),
        ({"reading": frame("reading", reading("R1")).drop("tank")}, "lacks its tank"),
        ({"reading": frame("reading", reading(None))}, "lacks its record"),
        ({"reading": frame("reading", reading("R1", float("nan")))}, "holds what is no number"),
        ({"reading": frame("reading", reading("R1", float("inf")))}, "holds what is no number"),
        ({"reading": frame("reading", reading("R1"), reading("R1", 2))}, "twice at once: R1"),
        (
            {
                "reading": frame("reading", reading("R1")),
                "rinse": frame("rinse", {"record": "R1"}),
            },
            "twice at once: R1",
        ),
    ],
)
def test_what_the_intake_would_never_give_is_refused_whole(book, frames, says):
    with pytest.raises(BookError, match=says):
        book.add(frames, **entered())
    assert book.size() == 1


def test_no_row_of_the_log_can_be_changed_or_deleted(book):
    book.add({kind: frame(kind, {"record": f"R-{kind}"}) for kind in KINDS}, **entered())
    for table in LOG:
        column = table.columns[0].name
        for statement in (
            f'UPDATE "{table.name}" SET "{column}" = "{column}"',
            f'DELETE FROM "{table.name}"',
        ):
            with book.reading() as held:
                filled = held.execute(select(func.count()).select_from(table)).scalar()
            if filled or book.engine.dialect.name == "postgresql":
                with pytest.raises(BookError, match="only grows"), book.writing() as held:
                    held.execute(text(statement))
    assert book.size() == 1 + len(KINDS)


def test_entries_are_numbered_without_a_gap(book):
    for number in range(4):
        book.add({"reading": frame("reading", reading(f"R{number}"))}, **entered(number))
        with pytest.raises(BookError):
            book.add({"reading": frame("reading", reading(None))}, **entered(number))
        book.add({"reading": frame("reading", reading(f"R{number}"))}, **entered(number))
    with book.reading() as held:
        numbers = held.execute(select(entries.c.entry).order_by(entries.c.entry)).scalars().all()
        rows = held.execute(select(submissions).order_by(submissions.c.submission)).all()
    assert numbers == [1, 2, 3, 4, 5]
    assert [(row.submission, row.first_entry, row.entries) for row in rows] == [
        (number, number, 1) for number in range(1, 6)
    ]


def test_a_reader_sees_one_state_while_others_write(book):
    book.add({"reading": frame("reading", reading("R1"))}, **entered(1))
    with book.reading() as held:
        assert held.execute(select(func.count()).select_from(entries)).scalar() == 2
        book.add({"reading": frame("reading", reading("R2"))}, **entered(2))
        assert held.execute(select(func.count()).select_from(entries)).scalar() == 2
    assert book.size() == 3


def test_two_books_with_the_same_records_have_the_same_root(book, tmp_path):
    other = create_book(
        tmp_path / "other.book",
        operator="Invented Rinsing",
        time_zone="Europe/Paris",
        entered_at=BEGAN,
        entered_by="P1",
        book_id="0b",
    )
    for one in (book, other):
        one.add({"reading": frame("reading", reading("R1"))}, **entered(1, key="a"))
        one.correct(
            {"reading": frame("reading", reading("R1", 3))}, **entered(2, key="b", reason=".")
        )
    assert book.root() == other.root()
    other.close()


VERSIONS = st.lists(
    st.tuples(
        st.integers(0, 5),  # when it is entered [h]
        st.lists(st.tuples(st.integers(1, 4), st.integers(0, 2)), min_size=1, max_size=4),
    ),
    max_size=6,
)


@settings(deadline=None, max_examples=12)
@given(VERSIONS)
def test_a_book_knows_at_every_instant_what_a_list_of_versions_says(tmp_path_factory, handed_in):
    path = tmp_path_factory.mktemp("versions") / "v.book"
    log = []
    with create_book(
        path, operator="x", time_zone="UTC", entered_at=BEGAN, entered_by="P1"
    ) as made:
        for after_h, rows in handed_in:
            given_ = {f"R{number}": float(tds) for number, tds in rows}
            made.add(
                {"reading": frame("reading", *(reading(r, tds) for r, tds in given_.items()))},
                **entered(after_h),
                differing="correct",
            )
            latest = {record: tds for _, record, tds in log}
            log += [(after_h, r, tds) for r, tds in given_.items() if latest.get(r) != tds]
        for after_h in range(6):
            frames = made.frames(known_at=BEGAN + timedelta(hours=after_h))
            expected = {record: tds for entered_h, record, tds in log if entered_h <= after_h}
            assert (outlets(frames) if frames else {}) == expected


ODD_TEXTS = (
    "",
    "a\tb\nc",
    "\\N",
    "\\.",
    "'; DROP TABLE entries; --",
    '"',
    "%s ?",
    "é\u0301 💧",
    "x" * 2000,
)
ODD_NUMBERS = (0.0, 0.1, 1e-300, 5e-324, 1.7976931348623157e308, 2.0**53 + 2, 1 / 3, -273.15)


def odd_value(dtype, number):
    """Return a value that is hard to keep, a different one for each number."""
    if dtype == pl.String():
        return ODD_TEXTS[number % len(ODD_TEXTS)]
    if dtype == pl.Float64():
        return ODD_NUMBERS[number % len(ODD_NUMBERS)]
    if dtype == pl.Boolean():
        return number % 2 == 0
    moment = datetime(1900, 1, 1, tzinfo=UTC) + timedelta(days=9.37 * number, microseconds=number)
    return moment.date() if dtype == pl.Date() else moment


@pytest.mark.parametrize("count", [3, 700])
def test_values_that_are_hard_to_keep_come_back_to_the_last_bit(book, count):
    given_ = {}
    for place, kind in enumerate(KINDS):
        fields = {name: field.dtype for name, field in KINDS[kind].fields.items()}
        rows = [
            {
                name: odd_value(dtype, number + shift) if (number + shift) % 5 else None
                for shift, (name, dtype) in enumerate(fields.items())
            }
            | {"record": f"{kind}-{number}", "kind": kind, "at": odd_value(None, number)}
            | {KINDS[kind].item: f"T{number * 7 % 11}"}
            for number in range(place, place + count)
        ]
        given_[kind] = pl.DataFrame(rows, schema=fields)
    book.add(given_, **entered())
    for kind, kept in book.frames().items():
        expected = given_[kind].sort(KINDS[kind].item, "at", "record")
        assert kept.equals(expected.select(kept.columns)), kind
    assert book.add(given_, **entered(2)).repeated == count * len(KINDS)
