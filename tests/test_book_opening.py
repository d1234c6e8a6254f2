"""A book is opened only where it is one, and whatever the disk or server does is said plainly."""

import os
import shutil
import sqlite3
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

import polars as pl
import pytest
from sqlalchemy import event, inspect, make_url, select, text

from qa_engine.book import create_book, open_book
from qa_engine.book.connection import address_of, is_book
from qa_engine.book.migrations import STEPS, Step, bring_forward, newest, version_of
from qa_engine.book.schema import LOG, migrations
from qa_engine.errors import BookError
from qa_engine.records import KINDS

BEGAN = datetime(2026, 3, 1, 8, tzinfo=UTC)
NOBODY = 65534


def made_at(url):
    return create_book(url, operator="Invented", time_zone="UTC", entered_at=BEGAN, entered_by="P1")


def readings(first, count):
    schema = {name: field.dtype for name, field in KINDS["reading"].fields.items()}
    rows = [
        {"record": f"R{number}", "at": BEGAN, "tank": "T1", "note": "n" * 500}
        for number in range(first, first + count)
    ]
    return {"reading": pl.DataFrame(rows, schema=schema)}


def entered(key):
    return {"key": key, "entered_at": BEGAN, "entered_by": "P1"}


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("fleet.book", True),
        ("/a b/fleet.book", True),
        ("sqlite:////a/fleet.book", True),
        ("postgresql://user@host/fleet", True),
        ("postgres://host/fleet", True),
        ("fleet.csv", False),
        ("book", False),
        ("a.book/day.csv", False),
    ],
)
def test_a_book_is_told_from_a_file_of_records_by_its_name(written, meant):
    assert is_book(written) == meant


def test_a_url_with_three_slashes_is_a_path_from_here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert address_of("sqlite:///fleet.book").database == str(tmp_path / "fleet.book")
    assert address_of("sqlite:////x/fleet.book").database == "/x/fleet.book"
    assert address_of("fleet.book").database == str(tmp_path / "fleet.book")


@pytest.mark.parametrize("written", ["mysql://host/fleet", "sqlite://", "://x"])
def test_an_address_of_another_sort_is_refused(written):
    with pytest.raises(BookError, match=r"a book is a file|not the URL"):
        open_book(written)


def test_a_path_with_odd_characters_holds_a_book_like_any_other(tmp_path):
    path = tmp_path / "50 % of #1?.book"
    made_at(path).close()
    with open_book(path) as book:
        assert book.size() == 1
    assert path.is_file()


def test_a_missing_file_is_not_made_by_opening_it(tmp_path):
    with pytest.raises(BookError, match=r"none.book: no such file; make it with: qa-engine book"):
        open_book(tmp_path / "none.book")
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_no_book_is_refused_and_left_alone(tmp_path):
    path = tmp_path / "day.book"
    path.write_bytes(b"record,kind,at\n" * 100)
    with pytest.raises(BookError, match="this file is no record book"):
        open_book(path)
    with pytest.raises(BookError, match="this file is no record book"):
        made_at(path)
    assert path.read_bytes() == b"record,kind,at\n" * 100


def test_a_database_of_something_else_is_refused_and_left_alone(tmp_path):
    path = tmp_path / "other.book"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE book (key TEXT, value TEXT)")
    other.close()
    with pytest.raises(BookError, match="no record book"):
        open_book(path)
    with pytest.raises(BookError, match="there is something else already"):
        made_at(path)


def test_a_database_without_tables_is_no_book_yet(book_url):
    if not book_url.startswith("postgresql"):
        Path(book_url).touch()
    with pytest.raises(BookError, match="no record book; make one with: qa-engine book create"):
        open_book(book_url)
    made_at(book_url).close()
    with open_book(book_url) as book:
        assert book.size() == 1


def test_a_book_is_not_made_where_there_is_one(book_url):
    with made_at(book_url) as book:
        root = book.root()
    with pytest.raises(BookError, match="there is a record book already"):
        made_at(book_url)
    with open_book(book_url) as book:
        assert book.root() == root


@pytest.mark.parametrize(
    ("name", "says"), [("fleet.db", "ends in .book"), ("none/fleet.book", "there is no folder")]
)
def test_a_book_is_made_only_under_a_name_and_in_a_folder_that_will_do(tmp_path, name, says):
    with pytest.raises(BookError, match=says):
        made_at(tmp_path / name)


def test_a_server_that_is_not_there_is_said_plainly_without_the_password():
    with pytest.raises(BookError) as caught:
        open_book("postgresql://user:seacret@/fleet?host=/nowhere")
    assert "the connection to the server" in str(caught.value)
    assert "seacret" not in str(caught.value)


def test_a_database_that_is_not_there_is_said_plainly(postgresql_server):
    with pytest.raises(BookError, match="there is no such database"):
        open_book(postgresql_server.replace("/postgres?", "/none?"))


def test_postgresql_without_its_driver_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "psycopg", None)
    with pytest.raises(BookError, match=r"install it with: pip install 'qa-engine\[postgres\]'"):
        open_book("postgresql://host/fleet")


TABLES_OF_VERSION = dict.fromkeys((1, 2), "4d29b63bc94a8960")


def test_the_tables_of_the_log_change_only_with_a_new_version():
    """If this fails: write a ``Step`` that brings older books forward, and add its version here."""
    columns = [
        f"{table.name}.{column.name} {type(column.type).__name__} {column.nullable}"
        for table in LOG
        for column in table.columns
    ]
    digest = sha256("\n".join(sorted(columns)).encode()).hexdigest()[:16]
    assert digest == TABLES_OF_VERSION[newest()]


NOW, NEXT, LAST = newest(), newest() + 1, newest() + 2

# A step that a later version of the program may have: a column that readings had not before.
COLUMN = Step(NEXT, "readings of turbidity", lambda held: held.execute(text(ADD_COLUMN)))
INDEX = Step(
    LAST, "an index", lambda held: held.execute(text("CREATE INDEX x ON reading (counter)"))
)
ADD_COLUMN = "ALTER TABLE reading ADD COLUMN turbidity REAL"


def test_an_older_book_is_brought_forward_when_opened_and_keeps_its_entries(book_url):
    with made_at(book_url) as book:
        book.add(readings(0, 3), **entered("a"))
        root = book.root()
    with open_book(book_url, steps=(COLUMN, INDEX)) as book:
        assert book.root() == root
        assert book.frames()["reading"].height == 3
        book.add(readings(3, 1), **entered("b"))
        with book.reading() as held:
            assert version_of(held) == LAST
            rows = held.execute(select(migrations).order_by(migrations.c.version)).all()
            found = held.execute(text("SELECT count(*), count(turbidity) FROM reading")).one()
    assert [tuple(row) for row in rows] == [
        (NOW, "made"),
        (NEXT, "readings of turbidity"),
        (LAST, "an index"),
    ]
    assert tuple(found) == (4, 0)


def test_a_book_of_the_first_version_gets_a_table_of_findings_with_instants(book_url):
    with made_at(book_url) as book, book.writing() as held:
        held.execute(text("DROP TABLE findings"))
        held.execute(text("CREATE TABLE findings (number INTEGER, finding TEXT, body TEXT)"))
        bring_forward(held, [replace(step, version=NEXT) for step in STEPS[:1]])
        assert {"seen_at", "gone_at"} < {
            one["name"] for one in inspect(held).get_columns("findings")
        }


def test_a_book_is_brought_forward_once_and_from_where_it_is(book_url):
    made_at(book_url).close()
    open_book(book_url, steps=(COLUMN,)).close()
    open_book(book_url, steps=(COLUMN, INDEX)).close()
    with open_book(book_url, steps=(COLUMN, INDEX)) as book, book.reading() as held:
        assert version_of(held) == LAST


def test_a_step_that_fails_leaves_the_book_as_it_was(book_url):
    broken = Step(LAST, "broken", lambda held: held.execute(text("ALTER TABLE none ADD x")))
    made_at(book_url).close()
    with pytest.raises(BookError, match="none"):
        open_book(book_url, steps=(COLUMN, broken))
    with open_book(book_url) as book, book.reading() as held:
        assert version_of(held) == NOW
        assert "turbidity" not in {one["name"] for one in inspect(held).get_columns("reading")}


def test_a_book_of_a_newer_program_is_not_opened(book_url):
    made_at(book_url).close()
    open_book(book_url, steps=(COLUMN,)).close()
    with pytest.raises(
        BookError, match=rf"version {NEXT}, and .* up to {NOW}; install a newer qa-engine"
    ):
        open_book(book_url)


def test_two_programs_that_bring_a_book_forward_at_once_do_it_once(book_url):
    made_at(book_url).close()
    with open_book(book_url) as book, book.writing() as held:
        bring_forward(held, (COLUMN,))
        bring_forward(held, (COLUMN,))
        assert version_of(held) == NEXT


def test_a_book_whose_making_was_broken_off_can_be_made_again(tmp_path):
    path = tmp_path / "fleet.book"
    sqlite3.connect(path).execute("PRAGMA journal_mode=WAL").connection.close()
    assert path.stat().st_size > 0
    made_at(path).close()
    with open_book(path) as book:
        assert book.size() == 1


@pytest.fixture
def shelf():
    """Return a folder that somebody without rights can look into."""
    folder = Path(tempfile.mkdtemp(prefix="qa-shelf-"))
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


@pytest.fixture
def without_rights():
    """Let the test go on as somebody who owns nothing; the superuser may write everything."""
    if os.geteuid() == 0:
        os.seteuid(NOBODY)
        yield
        os.seteuid(0)
    else:
        yield


@pytest.mark.parametrize("folder_mode", [0o555, 0o777])
def test_a_book_that_can_only_be_read_is_read_and_says_so_when_written(shelf, folder_mode, request):
    path = shelf / "fleet.book"
    with made_at(path) as book:
        book.add(readings(0, 3), **entered("a"))
    path.chmod(0o444)
    shelf.chmod(folder_mode)
    request.getfixturevalue("without_rights")
    with open_book(path) as book:
        assert book.frames()["reading"].height == 3
        with pytest.raises(BookError, match="it can only be read here; allow writing") as caught:
            book.add(readings(3, 1), **entered("b"))
        assert "What was acknowledged is kept" in str(caught.value)
        assert book.size() == 4


def test_a_book_on_a_medium_that_can_only_be_read_is_not_brought_forward(shelf, request):
    path = shelf / "fleet.book"
    made_at(path).close()
    path.chmod(0o444)
    shelf.chmod(0o555)
    request.getfixturevalue("without_rights")
    with pytest.raises(BookError, match="it can only be read here"):
        open_book(path, steps=(COLUMN,))


def test_somebody_who_may_only_read_on_a_server_reads_and_is_told_so_on_writing(postgresql_url):
    with made_at(postgresql_url) as book:
        book.add(readings(0, 3), **entered("a"))
        with book.writing() as held:
            held.execute(text("CREATE ROLE looker LOGIN"))
            held.execute(text("GRANT pg_read_all_data TO looker"))
    url = make_url(postgresql_url).set(username="looker").render_as_string(hide_password=False)
    try:
        with open_book(url) as book:
            assert book.frames()["reading"].height == 3
            with pytest.raises(BookError, match="you lack the right to do that"):
                book.add(readings(3, 1), **entered("b"))
            assert book.size() == 4
    finally:
        with open_book(postgresql_url) as book, book.writing() as held:
            held.execute(text("DROP ROLE looker"))


def test_a_full_disk_loses_nothing_and_says_what_would_do(tmp_path):
    path = tmp_path / "fleet.book"
    with made_at(path) as book:
        book.add(readings(0, 50), **entered("a"))
        root = book.root()
        with book.reading() as held:
            pages = held.exec_driver_sql("PRAGMA page_count").scalar()

        @event.listens_for(book.engine, "begin")
        def limit(held):
            held.connection.cursor().execute(f"PRAGMA max_page_count={pages + 3}")

        with pytest.raises(BookError, match="no room is left for it; free some") as caught:
            book.add(readings(50, 500), **entered("b"))
        assert "What was acknowledged is kept" in str(caught.value)
        assert book.root() == root
        assert book.frames()["reading"].height == 50
        event.remove(book.engine, "begin", limit)
    with open_book(path) as book:
        assert book.receipt("b") is None
        assert book.add(readings(50, 500), **entered("b")).entries == 500


def test_a_writer_that_waited_in_vain_is_told_in_plain_words_and_readers_never_wait(book_url):
    with made_at(book_url) as book, open_book(book_url, tries=3) as other, book.writing() as held:
        held.execute(text("INSERT INTO people VALUES (1, 'P1', NULL, 'a name')"))
        with pytest.raises(BookError) as caught:
            other.add(readings(0, 1), **entered("a"))
        assert "another program has been writing to it for long; try again" in str(caught.value)
        assert other.size() == 1
        assert other.frames() == {}
    with open_book(book_url) as book:
        assert book.add(readings(0, 1), **entered("a")).entries == 1
