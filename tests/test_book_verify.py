"""Verifying a record book: whatever is tampered with is found, and named where it can be."""

from dataclasses import replace
from importlib import import_module
from pathlib import Path
from random import Random

import pytest
from sqlalchemy import Text, cast, create_engine, select

from qa_engine.book import create_book, open_book
from qa_engine.book.attachments import attach, bytes_of, place_of
from qa_engine.book.breach import Breach
from qa_engine.book.heads import note_head, signed_head
from qa_engine.book.merkle_proofs import is_consistent
from qa_engine.book.people import erase_person, name_person, names
from qa_engine.book.schema import (
    RECORD_TABLES,
    attachments,
    bodies,
    entries,
    people,
    submissions,
    tree_heads,
)
from qa_engine.book.verify import verify
from qa_engine.errors import BookError

BENCH = Path(__file__).parent / "bench"
READINGS = RECORD_TABLES["reading"]
FIRST = 2
"""The first record of the sample is a reading, the second entry of the book."""


@pytest.fixture(scope="module")
def bench():
    """Return the modules of the bench that make a sample book and tamper with it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(BENCH)
        yield {name: import_module(name) for name in ("book_sample", "tamperings", "book_tamper")}


@pytest.fixture(scope="module")
def sample(bench, tmp_path_factory):
    return bench["book_tamper"].Copies(tmp_path_factory.mktemp("sample"))


@pytest.fixture
def url(sample):
    """Return where a fresh copy of the sample lies."""
    with sample.another() as url:
        yield url


@pytest.fixture
def tampered(bench, url):
    """Return a function that tampers with the copy by a statement and says what is found."""

    def run(*statements, heads=()):
        with bench["tamperings"].unguarded(url) as connection:
            for statement in statements:
                connection.execute(statement)
        with open_book(url) as book:
            return verify(book, heads)

    return run


def only(found):
    """Return the one thing found, besides the head that the book itself holds signed."""
    told = [breach for breach in found if "the head signed in entry" not in breach.what]
    assert len(told) == 1, found
    return told[0]


def test_a_book_nobody_touched_is_whole(sample, tampered):
    assert tampered(heads=sample.heads) == []


@pytest.mark.parametrize("at_once", [1, 7, 131])
def test_what_is_found_does_not_depend_on_how_much_is_read_at_once(
    url, sample, bench, tampered, at_once
):
    with open_book(url) as book:
        assert verify(book, sample.heads, at_once=at_once) == []
    with bench["tamperings"].unguarded(url) as connection:
        for table in bench["tamperings"].by_entry():
            connection.execute(table.delete().where(table.c.entry == 40))
    found = {(one.entry, one.last) for one in tampered(heads=sample.heads)}
    with open_book(url) as book:
        apart = {(one.entry, one.last) for one in verify(book, sample.heads, at_once=at_once)}
    assert (40, 40) in found
    assert apart == found


def test_the_sample_holds_entries_of_every_sort(url, bench):
    with open_book(url) as book, book.reading() as connection:
        held = set(connection.execute(select(entries.c.kind)).scalars())
        filled = [t for t in RECORD_TABLES.values() if connection.execute(select(t)).first()]
    assert {"book", "rule_set", "person", "attachment", "signature", "reading"} <= held
    assert len(filled) >= 10


def test_an_altered_value_is_named_with_its_record(tampered):
    mine = READINGS.c.entry == FIRST
    found = only(tampered(READINGS.update().where(mine).values(note="altered")))
    assert (found.entry, found.kind, found.id) == (FIRST, "reading", "reading-0-0")
    assert str(found).startswith("entry 2 (reading reading-0-0): it was changed")


def test_an_altered_byte_that_is_no_text_is_named(tampered):
    broken = bodies.update().where(bodies.c.entry == 1).values(body=cast(b"\xff", Text))
    assert "holds what its columns cannot hold" in [one.what for one in tampered(broken)]


def test_a_removed_row_and_a_removed_entry_are_named(tampered):
    mine = READINGS.c.entry == FIRST
    found = only(tampered(READINGS.delete().where(mine)))
    assert (found.entry, found.what) == (FIRST, "its row was removed, or its kind was changed")


def test_a_removed_entry_is_named(tampered):
    found = tampered(entries.delete().where(entries.c.entry == FIRST))
    assert Breach("removed: no such entry stands in the book", FIRST, FIRST) in found
    assert "a row of reading was inserted, or its entry was removed or changed" in {
        one.what for one in found if one.entry == FIRST
    }


def test_an_inserted_row_is_named(tampered):
    row = {"entry": 100_000, "record": "X", "at": 0, "tank": "T-07"}
    found = only(tampered(READINGS.insert().values(row)))
    assert str(found).startswith("entry 100000: a row of reading was inserted")


def test_two_records_that_changed_places_are_told_as_moved(tampered, url):
    with open_book(url) as book, book.reading() as connection:
        rows = connection.execute(select(READINGS.c.entry, READINGS.c.record).limit(2)).all()
    (one, first), (other, second) = rows
    swap = [(one, -1), (other, one), (-1, other)]
    found = tampered(
        *(READINGS.update().where(READINGS.c.entry == a).values(entry=b) for a, b in swap)
    )
    assert {breach.entry: breach.what for breach in found} == {
        one: f"it was moved, or its id was changed: its row is that of {second}",
        other: f"it was moved, or its id was changed: its row is that of {first}",
    }


def test_two_digests_that_changed_places_are_told_as_moved(tampered, url):
    digest, number = entries.c.digest, entries.c.entry
    with open_book(url) as book, book.reading() as connection:
        held = dict(connection.execute(select(number, digest).where(number.in_((2, 3)))).all())
    found = tampered(
        entries.update().where(number == 2).values(digest=held[3]),
        entries.update().where(number == 3).values(digest=held[2]),
    )
    assert {breach.entry: breach.what for breach in found if breach.last is None} == {
        2: "it was moved: what is stored here was entered as entry 3",
        3: "it was moved: what is stored here was entered as entry 2",
    }


def test_two_entries_of_one_submission_that_changed_places_are_named(tampered, bench, url):
    # Entries 2 and 3 came in together; their digests fit them, but the tree does not.
    with bench["tamperings"].unguarded(url) as connection:
        for table in bench["tamperings"].by_entry():
            bench["tamperings"].swap(connection, table, 2, 3)
    found = only(tampered())
    assert found.entry <= 2 < found.last
    assert found.what == "entries 2 and 3 changed places"


def test_an_altered_submission_is_told_once(tampered):
    mine = submissions.c.submission == 2
    found = only(tampered(submissions.update().where(mine).values(entered_by="p-9")))
    assert found.what.startswith("how submission 2 came in")


def test_an_altered_tree_head_is_told_and_nothing_after_it(tampered):
    mine = tree_heads.c.submission == 3
    found = only(tampered(tree_heads.update().where(mine).values(root=b"\0" * 32)))
    assert "tree head of submission 3" in found.what


def test_an_altered_frontier_is_told(tampered):
    mine = tree_heads.c.submission == 3
    found = only(tampered(tree_heads.update().where(mine).values(frontier=b"\0")))
    assert found.what == "the frontier in the tree head of submission 3 was changed"


def test_who_reckons_a_digest_anew_is_found_by_the_tree(tampered, bench, url):
    note = READINGS.update().where(READINGS.c.entry == FIRST).values(note="altered")
    with bench["tamperings"].unguarded(url) as connection:
        connection.execute(note)
        bench["tamperings"].reckon_digests(connection)
    found = only(tampered())
    assert found.entry <= FIRST <= found.last
    assert found.what.startswith("they do not fit the tree head of submission 2")


def test_who_reckons_the_whole_tree_anew_is_found_by_a_kept_head_only(tampered, bench, url, sample):
    with open_book(url) as book, book.reading() as connection:
        last = max(connection.execute(select(READINGS.c.entry)).scalars())
    note = READINGS.update().where(READINGS.c.entry == last).values(note="altered")
    with bench["tamperings"].unguarded(url) as connection:
        connection.execute(note)
        bench["tamperings"].reckon_digests(connection)
        bench["tamperings"].reckon_tree(connection)
    assert tampered() == []
    middle, end = sample.heads
    assert tampered(heads=[middle]) == []
    found = only(tampered(heads=[middle, end]))
    assert (found.entry, found.last) == (middle.size + 1, end.size)
    assert "was rewritten after it was signed" in found.what


def test_a_book_written_anew_with_another_end_is_found_by_a_kept_head_only(bench, sample):
    make, heads = bench["book_sample"].make, sample.heads
    with sample.empty() as url, make(url) as again:
        assert verify(again, heads) == []  # the same story gives the same book
    with sample.empty() as url, make(url, forged=6) as other:
        assert verify(other) == []
        found = only(verify(other, heads))
        assert (found.entry, found.last) == (heads[0].size + 1, heads[1].size)
    with sample.empty() as url, make(url, rounds=6) as short:
        assert verify(short) == []
        found = only(verify(short, heads))
        assert f"speaks of {heads[1].size} entries, and {short.size()} stand here" in found.what


def test_a_head_of_another_book_or_with_a_false_signature_is_told(url, sample, bench, tmp_path):
    when = bench["book_sample"].BEGAN
    about = {"operator": "Other", "time_zone": "Etc/UTC", "entered_at": when, "entered_by": "p-1"}
    with create_book(tmp_path / "other.book", **about) as other:
        found = verify(other, sample.heads[:1])
    assert "speaks of book" in found[0].what
    forged = replace(sample.heads[0], signature=bytes(64))
    with open_book(url) as book:
        assert "does not bear the signature" in only(verify(book, [forged])).what


def test_a_guard_taken_away_is_told(url):
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.exec_driver_sql('DROP TRIGGER "reading_no_update"')
    engine.dispose()
    with open_book(url) as book:
        assert "the guard reading_no_update" in only(verify(book)).what


def test_a_changed_or_lost_attachment_is_told(url):
    with open_book(url) as book:
        with book.reading() as connection:
            name = connection.execute(select(attachments.c.sha256)).scalar_one()
        place = place_of(book.folder, name)
        place.write_bytes(b"bytes of a fhoto")
        assert only(verify(book)).what == "the attachment's bytes were changed"
        place.unlink()
        assert only(verify(book)).what == "the attachment's bytes were removed"


def test_a_changed_name_is_told_and_an_erased_one_is_not(tampered, url):
    found = only(tampered(people.update().where(people.c.person == "p-3").values(name="Another")))
    assert (found.kind, found.id, found.what) == (
        "person",
        "p-3",
        "its row in 'people' was changed",
    )
    with open_book(url) as book:
        erase_person(book, "p-3")
        assert verify(book) == []
        with book.reading() as connection:
            assert names(connection) == {}


def test_an_erased_name_is_nowhere_in_the_files_any_more(tmp_path, bench):
    path = tmp_path / "a.book"
    when = {"entered_at": bench["book_sample"].BEGAN, "entered_by": "p-1"}
    with create_book(path, operator="Invented", time_zone="Etc/UTC", **when) as book:
        name_person(book, "p-2", "Somebody Invented", key="k", **when)
        assert any(b"Somebody Invented" in one.read_bytes() for one in tmp_path.iterdir())
        erase_person(book, "p-2")
        assert not any(b"Somebody Invented" in one.read_bytes() for one in tmp_path.iterdir())
        assert verify(book) == []


def test_naming_a_person_twice_alike_adds_nothing_and_otherwise_renames(book_url, bench):
    when = {"entered_at": bench["book_sample"].BEGAN, "entered_by": "p-1"}
    with create_book(book_url, operator="Invented", time_zone="Etc/UTC", **when) as book:
        assert name_person(book, "p-2", "One", key="k1", **when).entries == 1
        assert name_person(book, "p-2", "One", key="k1", **when).known
        assert name_person(book, "p-2", "One", key="k2", **when).entries == 0
        assert name_person(book, "p-2", "Two", key="k3", **when).entries == 1
        with book.reading() as connection:
            assert names(connection) == {"p-2": "Two"}
        assert verify(book) == []


def test_an_attachment_is_kept_once_and_belongs_to_a_record(book_url, bench):
    when = {"entered_at": bench["book_sample"].BEGAN, "entered_by": "p-1"}
    with create_book(book_url, operator="Invented", time_zone="Etc/UTC", **when) as book:
        with pytest.raises(BookError, match="no record R-1 to attach"):
            attach(book, b"a", type="image/png", record="R-1", key="k1", **when)
        assert attach(book, b"waste note", type="text/plain", key="k2", **when).entries == 1
        assert attach(book, b"waste note", type="text/plain", key="k3", **when).entries == 0
        (body,) = book.bodies("attachment").values()
        # printf 'waste note' | sha256sum
        assert body == {
            "sha256": "a8d0ab80236f8991fc23853bfbdaf9f0727c38250f34c6bfe4e8c552d57b339d",
            "size": 10,
            "type": "text/plain",
        }
        with book.reading() as connection:
            assert bytes_of(connection, book.folder, body["sha256"]) == b"waste note"
        assert verify(book) == []


def test_a_signed_head_carries_the_proof_from_an_earlier_one(url, bench, sample):
    middle, _ = sample.heads
    key, when = bench["book_sample"].KEY, bench["book_sample"].BEGAN
    with open_book(url) as book:
        later = signed_head(book, key, when, since=middle)
        assert later.is_genuine
        assert is_consistent(middle.size, middle.root, later.size, later.root, later.proof)
        note_head(book, later, entered_at=when, entered_by="p-1")
        assert verify(book, [middle, later]) == []
        for earlier, says in (
            (replace(middle, book="other"), "is of book other"),
            (replace(middle, root=bytes(32)), "speaks of was changed"),
        ):
            with pytest.raises(BookError, match=says):
                signed_head(book, key, when, since=earlier)


def test_tamperings_at_random_are_all_found(bench, sample):
    tally = bench["book_tamper"].Tally()
    bench["book_tamper"].run(sample, 30, Random(7), tally)
    assert tally.done.total() == 30
    assert tally.missed == []
    assert tally.named == tally.nameable


def test_tamperings_are_found_on_postgresql_too(bench, postgresql_server):
    databases = import_module("databases")
    with databases.database(postgresql_server) as original:
        copies = bench["book_tamper"].Databases(postgresql_server, original)
        tally = bench["book_tamper"].Tally()
        bench["book_tamper"].run(copies, 10, Random(1), tally)
    assert tally.missed == []
    assert tally.named == tally.nameable
