"""A record book taken elsewhere and back: the same entries, digests and root."""

import json
import sqlite3
from importlib import import_module
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal
from sqlalchemy import select

from qa_engine.book import open_book
from qa_engine.book.copying import copy_book
from qa_engine.book.export import export_book
from qa_engine.book.export_reading import import_book
from qa_engine.book.people import names
from qa_engine.book.schema import entries, tree_heads
from qa_engine.book.verify import verify
from qa_engine.errors import BookError

BENCH = Path(__file__).parent / "bench"


@pytest.fixture(scope="module")
def sample():
    """Return the module of the bench that makes a sample book."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(BENCH)
        yield import_module("book_sample")


def digests(book):
    with book.reading() as held:
        log = held.execute(select(entries.c.entry, entries.c.digest).order_by(entries.c.entry))
        heads = held.execute(select(tree_heads).order_by(tree_heads.c.submission))
        return [tuple(row) for row in log], [tuple(row) for row in heads]


def assert_same(one, other):
    assert digests(one) == digests(other)
    assert one.about() == other.about()
    assert one.bodies("rule_set") == other.bodies("rule_set")
    ours, theirs = one.frames(entered=True), other.frames(entered=True)
    assert list(ours) == list(theirs)
    for kind, frame in ours.items():
        assert_frame_equal(frame, theirs[kind])


@settings(deadline=None, max_examples=8)
@given(st.integers(0, 10**6), st.integers(0, 4), st.integers(3, 60))
def test_an_export_makes_the_same_book_again(tmp_path_factory, sample, seed, rounds, per_part):
    folder = tmp_path_factory.mktemp("export")
    with sample.make(folder / "one.book", seed, rounds) as one:
        assert export_book(one, folder / "out", entries_per_part=per_part) == one.size()
        with import_book(folder / "out", folder / "other.book") as other:
            assert_same(one, other)
            assert verify(other, [sample.head_of(one, 9)]) == []


def test_a_book_goes_to_another_database_and_back(tmp_path, postgresql_url, sample):
    with sample.make(tmp_path / "one.book") as one:
        export_book(one, tmp_path / "out")
        with import_book(tmp_path / "out", postgresql_url) as server:
            assert verify(server) == []
            export_book(server, tmp_path / "again")
            with import_book(tmp_path / "again", tmp_path / "two.book") as two:
                assert_same(one, two)
                assert verify(two) == []


def test_an_export_says_what_it_is_and_has_plain_types(tmp_path, sample):
    with sample.make(tmp_path / "one.book") as one:
        export_book(one, tmp_path / "out")
        about = json.loads((tmp_path / "out" / "book.json").read_text())
        assert (about["entries"], about["root"]) == (one.size(), one.root().hex())
        assert about["book"]["operator"] == "Invented Rinse"
    rows = pl.read_parquet(tmp_path / "out" / "seal_service" / "*.parquet")
    assert rows.schema["at"] == pl.Datetime("us", "UTC")
    assert rows.schema["replaced"] == pl.Boolean
    assert len(list((tmp_path / "out" / "files").iterdir())) == 1


def test_names_can_be_left_out_of_an_export(tmp_path, sample):
    with sample.make(tmp_path / "one.book") as one:
        export_book(one, tmp_path / "out", with_names=False)
    assert not any(
        b"Somebody Invented" in path.read_bytes()
        for path in (tmp_path / "out").rglob("*")
        if path.is_file()
    )
    with import_book(tmp_path / "out", tmp_path / "two.book") as two:
        assert verify(two) == []
        with two.reading() as held:
            assert names(held) == {}


def _change(path):
    frame = pl.read_parquet(path)
    frame.with_columns(note=pl.lit("altered")).write_parquet(path)


def _leave_out(path):
    pl.read_parquet(path).head(-1).write_parquet(path)


def _spoil(path):
    path.write_bytes(b"nothing")


@pytest.mark.parametrize(
    ("name", "change", "says"),
    [
        ("reading/000001.parquet", _change, "was changed since it was exported: entry"),
        ("reading/000001.parquet", _leave_out, "was changed since it was exported: entry"),
        ("reading/000001.parquet", _spoil, "cannot be read"),
        ("entries/000001.parquet", _leave_out, "roots are not those of the exported entries"),
        ("book.json", _spoil, "is no JSON"),
        ("book.json", Path.unlink, "cannot be read: No such file"),
    ],
)
def test_an_export_that_was_changed_makes_no_book(tmp_path, sample, name, change, says):
    with sample.make(tmp_path / "one.book", rounds=2) as one:
        export_book(one, tmp_path / "out")
    change(tmp_path / "out" / name)
    with pytest.raises(BookError, match=says):
        import_book(tmp_path / "out", tmp_path / "two.book")
    with pytest.raises(BookError):
        open_book(tmp_path / "two.book")


def test_an_attachment_that_was_changed_makes_no_book(tmp_path, sample):
    with sample.make(tmp_path / "one.book", rounds=3) as one:
        export_book(one, tmp_path / "out")
    (photo,) = (tmp_path / "out" / "files").iterdir()
    photo.write_bytes(b"another")
    with pytest.raises(BookError, match=f"{photo.name}: was changed"):
        import_book(tmp_path / "out", tmp_path / "two.book")


def test_nothing_is_written_over(tmp_path, sample):
    with sample.make(tmp_path / "one.book", rounds=1) as one:
        export_book(one, tmp_path / "out")
        with pytest.raises(BookError, match="there is something in it"):
            export_book(one, tmp_path / "out")
        with pytest.raises(BookError, match="there is a record book already"):
            import_book(tmp_path / "out", tmp_path / "one.book")
        with pytest.raises(BookError, match="is there already"):
            copy_book(one, tmp_path / "one.book")
        with pytest.raises(BookError, match=r"ends in \.book"):
            copy_book(one, tmp_path / "one.backup")
        (tmp_path / "file").touch()
        with pytest.raises(BookError, match="cannot be written"):
            export_book(one, tmp_path / "file")


def test_a_copy_is_the_book_as_it_was_while_others_write(tmp_path, sample):
    with sample.make(tmp_path / "one.book") as one:
        with one.writing():  # a writer at work, who has not committed yet
            copied = copy_book(one, tmp_path / "copy.book")
        with open_book(copied) as copy:
            assert_same(one, copy)
            assert verify(copy, [sample.head_of(one, 9)]) == []
            one.put("action", "a", {}, key="later", entered_at=sample.BEGAN, entered_by="p-1")
            assert copy.size() == one.size() - 1
    held = sqlite3.connect(tmp_path / "copy.book")
    assert held.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    held.close()
    assert {path.name for path in tmp_path.iterdir() if "half" in path.name} == set()


def test_a_database_on_a_server_is_not_copied_but_told_how(tmp_path, postgresql_url, sample):
    with (
        sample.make(postgresql_url, rounds=1) as one,
        pytest.raises(BookError, match="pg_dump"),
    ):
        copy_book(one, tmp_path / "copy.book")
