"""The commands that verify, sign, export and copy a record book."""

import json
from importlib import import_module
from pathlib import Path

import pytest
from click.testing import CliRunner

from qa_engine.book import open_book
from qa_engine.book.people import names
from qa_engine.book.schema import RECORD_TABLES
from qa_engine.cli.program import program

BENCH = Path(__file__).parent / "bench"
READINGS = RECORD_TABLES["reading"]


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """Return the modules that make a sample book and tamper with it, in a folder with one."""
    monkeypatch.syspath_prepend(BENCH)
    monkeypatch.chdir(tmp_path)
    modules = import_module("book_sample"), import_module("tamperings")
    modules[0].make("fleet.book", rounds=3).close()
    return modules


def run(*call):
    result = CliRunner().invoke(program, ["book", *map(str, call)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def alter(bench, note="altered"):
    with bench[1].unguarded(f"sqlite:///{Path('fleet.book').absolute()}") as connection:
        connection.execute(READINGS.update().where(READINGS.c.entry == 2).values(note=note))


def test_a_whole_book_verifies_with_status_0(bench):
    status, out, _ = run("verify", "fleet.book")
    assert status == 0
    with open_book("fleet.book") as book:
        assert f"{book.size()} entries, all as they were entered" in out
        assert f"root {book.root().hex()}" in out


def test_an_altered_book_is_told_with_status_1(bench):
    alter(bench)
    status, out, _ = run("verify", "fleet.book")
    assert status == 1
    assert out.startswith("entry 2 (reading reading-0-0): it was changed")
    assert "NOT as it was entered: 1 breaches" in out
    status, _, err = run("verify", "fleet.book", "--format", "json", "--out", "found.json")
    found = json.loads(Path("found.json").read_text())
    assert (status, found["whole"], err) == (1, False, "Written to found.json.\n")
    assert [(one["entry"], one["kind"]) for one in found["breaches"]] == [(2, "reading")]


def test_a_wrong_call_has_status_2(bench):
    assert run("verify", "none.book")[0] == 2
    status, _, err = run("verify", "fleet.book", "--head", "none.json")
    assert (status, "none.json: cannot be read" in err) == (2, True)
    Path("head.json").write_text("{}")
    status, _, err = run("verify", "fleet.book", "--head", "head.json")
    assert (status, "head.json: is no signed tree head" in err) == (2, True)


def test_a_signed_head_finds_a_past_that_was_rewritten(bench):
    sample, _ = bench
    status, out, _ = run("sign", "fleet.book", "--by", "p-1", "--out", "head.json")
    assert status == 0
    assert Path("fleet.book.key").stat().st_mode & 0o777 == 0o600
    assert "Made the private key" in out
    assert run("verify", "fleet.book", "--head", "head.json")[0] == 0
    Path("fleet.book").unlink()
    sample.make("fleet.book", rounds=3, forged=0).close()
    assert run("verify", "fleet.book")[0] == 0
    status, out, _ = run("verify", "fleet.book", "--head", "head.json")
    assert (status, "was rewritten after it was signed" in out) == (1, True)


def test_a_later_head_proves_that_an_earlier_one_holds(bench):
    assert run("sign", "fleet.book", "--by", "p-1", "--out", "one.json")[0] == 0
    call = ("sign", "fleet.book", "--by", "p-1", "--out", "two.json", "--since", "one.json")
    assert run(*call)[0] == 0
    status, out, _ = run("heads", "one.json", "two.json")
    size = json.loads(Path("one.json").read_text())["size"]
    # Signing is an entry too: the later head has one more.
    assert (status, out.split(" of ")[0]) == (0, f"Proved: the {size} entries")
    assert f"the {size + 1} of the later one" in out
    status, out, _ = run("heads", "two.json", "one.json")
    assert (status, "carries no proof" in out) == (1, True)
    changed = json.loads(Path("two.json").read_text()) | {"root": "00" * 32}
    Path("two.json").write_text(json.dumps(changed))
    status, out, _ = run("heads", "one.json", "two.json")
    assert (status, "does not bear the signature" in out) == (1, True)


def test_a_book_that_was_altered_is_not_signed(bench):
    alter(bench)
    status, _, err = run("sign", "fleet.book", "--by", "p-1", "--out", "head.json")
    assert (status, "not signed" in err) == (1, True)
    assert not Path("head.json").exists()


def test_a_key_that_others_may_read_is_refused(bench):
    run("sign", "fleet.book", "--by", "p-1", "--out", "head.json")
    Path("fleet.book.key").chmod(0o644)
    status, _, err = run("sign", "fleet.book", "--by", "p-1", "--out", "head.json")
    assert (status, "chmod 600" in err) == (2, True)


def test_a_book_is_exported_imported_and_copied(bench):
    assert run("export", "fleet.book", "out")[0] == 0
    status, out, _ = run("import", "out", "again.book")
    with open_book("fleet.book") as book:
        assert (status, f"root {book.root().hex()}" in out) == (0, True)
    assert run("copy", "fleet.book", "copy.book")[0] == 0
    assert run("verify", "copy.book")[0] == 0
    status, _, err = run("copy", "fleet.book", "copy.book")
    assert (status, "is there already" in err) == (2, True)


def test_a_person_is_named_and_erased(bench):
    assert run("name", "fleet.book", "p-9", "Invented Name", "--by", "p-1")[1] == "p-9 is named.\n"
    assert run("name", "fleet.book", "p-9", "Invented Name", "--by", "p-1")[1].endswith(
        "already.\n"
    )
    with open_book("fleet.book") as book, book.reading() as held:
        assert names(held)["p-9"] == "Invented Name"
    assert run("erase", "fleet.book", "p-9")[1] == "The name of p-9 is erased.\n"
    assert run("erase", "fleet.book", "p-9")[1] == "p-9 has no name here.\n"
    assert run("verify", "fleet.book")[0] == 0


def test_a_file_is_attached_to_a_record(bench):
    Path("note.pdf").write_bytes(b"waste note")
    call = ("attach", "fleet.book", "reading-0-0", "note.pdf", "--by", "p-1")
    out = "note.pdf (application/pdf, 10 bytes) is attached to reading-0-0.\n"
    assert run(*call)[:2] == (0, out)
    assert "was attached before" in run(*call)[1]
    status, _, err = run("attach", "fleet.book", "nothing", "note.pdf", "--by", "p-1")
    assert (status, "there is no record nothing" in err) == (2, True)
    status, _, err = run("attach", "fleet.book", "reading-0-0", "none.pdf", "--by", "p-1")
    assert (status, "none.pdf: cannot be read" in err) == (2, True)
    assert run("verify", "fleet.book")[0] == 0
