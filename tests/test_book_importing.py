"""A file is taken in part by part; whatever breaks that off, it ends as if nothing had."""

import json
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from qa_engine.book import Submission, create_book
from qa_engine.book.importing import add_file, parts_of
from qa_engine.book.refusals import keep_refused, refused_rows
from qa_engine.intake import WrittenFile, place_of, read_records

BEGAN = datetime(2026, 3, 1, 8, tzinfo=UTC)
FILE = Submission("file", BEGAN, "P1", "day.csv")


def made_at(url):
    return create_book(
        url, operator="x", time_zone="UTC", entered_at=BEGAN, entered_by="P1", book_id="0b"
    )


def frames(readings=7, rinses=4):
    """Return records in the two kinds, with ids that tell them."""
    return {
        kind: pl.select(
            record=pl.concat_str(pl.lit(kind), pl.int_range(count)),
            at=pl.lit(BEGAN).cast(pl.Datetime("us", "UTC")),
            tank=pl.lit("T1"),
        )
        for kind, count in (("rinse", rinses), ("reading", readings))
    }


class BrokenOffError(Exception):
    """What breaks off an import in these tests."""


def break_off_after(parts):
    """Return a listener that lets so many parts be taken and then breaks off."""
    left = [parts]

    def told(receipt, rows):
        left[0] -= 1
        if not left[0]:
            raise BrokenOffError

    return told


def test_parts_hold_every_record_once_in_the_order_of_kinds():
    parts = list(parts_of(frames(), 3))
    assert [{kind: one.height for kind, one in part.items()} for part in parts] == [
        {"reading": 3},
        {"reading": 3},
        {"reading": 1, "rinse": 2},
        {"rinse": 2},
    ]
    for kind, whole in frames().items():
        assert pl.concat(part[kind] for part in parts if kind in part).equals(whole)
    assert list(parts_of({}, 3)) == list(parts_of(frames(0, 0), 3)) == []


def test_a_file_that_was_taken_in_before_adds_nothing(book_url):
    with made_at(book_url) as book:
        first = add_file(book, frames(), FILE, rows_per_part=3)
        root = book.root()
        again = add_file(book, frames(), FILE, rows_per_part=3)
        assert (first.added, first.known, first.rows) == (11, False, 11)
        assert (again.added, again.known, again.rows) == (0, True, 11)
        assert book.root() == root


@pytest.mark.parametrize("after", [1, 2, 3, 4])
def test_an_import_that_was_broken_off_goes_on_and_ends_with_the_same_root(
    book_url, after, tmp_path
):
    with made_at(tmp_path / "undisturbed.book") as book:
        add_file(book, frames(), FILE, rows_per_part=3)
        root = book.root()
    with made_at(book_url) as book:
        with pytest.raises(BrokenOffError):
            add_file(book, frames(), FILE, rows_per_part=3, told=break_off_after(after))
        assert book.size() == 1 + min(3 * after, 11)
        done = add_file(book, frames(), FILE, rows_per_part=3)
        assert [receipt.known for receipt in done.receipts] == [n < after for n in range(4)]
        assert book.root() == root


def test_other_parts_of_the_same_records_add_nothing_either(book_url):
    with made_at(book_url) as book:
        add_file(book, frames(), FILE, rows_per_part=3)
        other = Submission("other", BEGAN, "P1", "copy.csv")
        done = add_file(book, frames(), other, rows_per_part=5)
        assert (done.added, done.repeated, done.conflicts) == (0, 11, ())
        assert book.size() == 12


def test_a_mended_file_corrects_and_adds_and_every_row_is_told_of(book_url):
    with made_at(book_url) as book:
        add_file(book, frames(), FILE, rows_per_part=3)
        changed = pl.when(pl.col("record") == "reading2").then(pl.lit("mended"))
        mended = frames(8, 4)
        mended["reading"] = mended["reading"].with_columns(note=changed)
        later = Submission("mended", BEGAN + timedelta(hours=1), "P1", "day.csv", "misread")
        refused = add_file(book, mended, later, rows_per_part=100)
        assert [one.record for one in refused.conflicts] == ["reading2"]
        rows = []
        mend = Submission("mend", BEGAN + timedelta(hours=2), "P1", "day.csv", "misread")
        done = add_file(
            book,
            mended,
            mend,
            differing="correct",
            told=lambda receipt, count: rows.append(count),
            rows_per_part=5,
        )
        assert (done.added, done.repeated, rows) == (1, 11, [5, 5, 2])
        notes = book.frames()["reading"].filter(pl.col("note").is_not_null())
        assert notes["record"].to_list() == ["reading2"]


REFUSED = """record,kind,at,tank,outlet_tds
R1,reading,2026-03-01T08:00:00Z,T1,dry
R2,reading,2026-03-01T08:00:00Z,T1,12
R3,reading,2026-03-01,T1,wet
"""


def test_refused_rows_are_kept_with_their_cells_until_they_come_in_mended(book_url):
    given = read_records([WrittenFile("day.csv", REFUSED.encode())])
    with made_at(book_url) as book:
        for _ in range(2):
            add_file(book, given.frames, FILE)
            keep_refused(book, "file", given)
        kept = refused_rows(book)
        told = [(place_of(row), row["record"], row["field"]) for row in kept.iter_rows(named=True)]
        assert told == [
            ("day.csv:2", "R1", "outlet_tds"),
            ("day.csv:4", "R3", "at"),
            ("day.csv:4", "R3", "outlet_tds"),
        ]
        assert json.loads(kept["cells"][0]) == {
            "record": "R1",
            "kind": "reading",
            "at": "2026-03-01T08:00:00Z",
            "tank": "T1",
            "outlet_tds": "dry",
        }
        mended = read_records([WrittenFile("day.csv", REFUSED.replace("dry", "9").encode())])
        keep_refused(book, "mended", mended)
        add_file(book, mended.frames, Submission("mended", BEGAN, "P1"))
        assert refused_rows(book)["record"].unique().to_list() == ["R3"]
        assert refused_rows(book, whole=True).height == 5
