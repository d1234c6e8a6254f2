"""The command that writes audit reports."""

import json
import sqlite3
import sys
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from qa_engine.book import create_book
from qa_engine.cli.program import program
from qa_engine.intake import read_records, read_register

DAYS = ("--from", "2026-07-01", "--to", "2026-07-31", "--as-of", "2026-08-01T00:00:00Z")
REGISTER = """
operator: {name: Quillmere, time_zone: Europe/London}
vans: [{van: V1, base: north}]
tanks: [{tank: T1, van: V1, vessel_volume: 20 L}]
"""
READINGS = """record,kind,at,van,tank,outlet_tds,sampled
R1,reading,2026-07-02T08:00:00Z,V1,T1,12,flowing
"""


@pytest.fixture(autouse=True)
def fleet_book(tmp_path, monkeypatch):
    """Make a small book and go where it is."""
    monkeypatch.chdir(tmp_path)
    Path("register.yaml").write_text(REGISTER, encoding="utf-8")
    Path("days.csv").write_text(READINGS, encoding="utf-8")
    entered = {"entered_at": datetime(2026, 7, 31, tzinfo=UTC), "entered_by": "P-1"}
    with create_book(
        "fleet.book", operator="Quillmere", time_zone="Europe/London", **entered
    ) as book:
        book.put_register(read_register(Path("register.yaml")), key="register", **entered)
        frames = read_records([Path("days.csv")], time_zone=None).frames
        book.add(frames, key="days", **entered)


def run(*call):
    result = CliRunner().invoke(program, ["audit", "report", "fleet.book", *map(str, call)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def test_it_writes_the_paper_and_says_in_short_what_stands_in_it():
    status, out, err = run(*DAYS, "--out", "a.pdf")
    assert status == 0
    assert "everything in it is as it was entered" in out
    assert err == "Audit report written to a.pdf.\n"
    assert Path("a.pdf").read_bytes().startswith(b"%PDF-1.7")


def test_two_runs_write_the_same_file():
    for name in ("a.pdf", "b.pdf"):
        run(*DAYS, "--out", name)
    assert Path("a.pdf").read_bytes() == Path("b.pdf").read_bytes()


def test_it_writes_json_for_a_file_of_that_name():
    run(*DAYS, "--out", "a.json")
    assert json.loads(Path("a.json").read_text())["audit_report"] == 1


def test_a_book_that_was_altered_is_reported_with_status_1():
    with closing(sqlite3.connect("fleet.book")) as raw, raw:
        for (name,) in raw.execute(
            "SELECT name FROM sqlite_master WHERE type='trigger'"
        ).fetchall():
            raw.execute(f'DROP TRIGGER "{name}"')
        raw.execute("UPDATE reading SET note = 'altered'")
    status, out, _ = run(*DAYS, "--out", "a.json")
    assert status == 1
    assert "NOT whole" in out
    assert json.loads(Path("a.json").read_text())["book"]["breaches"]


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (("--from", "2026-02-01", "--to", "2026-01-01", "--out", "a.pdf"), "before it begins"),
        (("--from", "2026-02-30", "--to", "2026-03-01", "--out", "a.pdf"), "2026-02-30"),
        (("--from", "2026-02-01", "--to", "tomorrow", "--out", "a.pdf"), "tomorrow"),
        (("--from", "2026-02-01", "--out", "a.pdf"), "--to"),
        ((*DAYS, "--out", "a.txt"), ".pdf or .json"),
        ((*DAYS, "--out", "nowhere/a.pdf"), "there is no folder nowhere"),
        ((*DAYS, "--van", "nobody", "--out", "a.pdf"), "there is no van 'nobody'"),
        ((*DAYS[:4], "--as-of", "once", "--out", "a.pdf"), "once"),
    ],
)
def test_a_wrong_call_is_told_and_writes_nothing(call, says):
    status, out, err = run(*call)
    assert status == 2
    assert says in err
    assert out == ""
    assert not list(Path().glob("a.*"))


def test_without_the_typesetter_it_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "typst", None)
    status, _, err = run(*DAYS, "--out", "a.pdf")
    assert status == 2
    assert "install qa-engine[pdf]" in err
    assert run(*DAYS, "--out", "a.json")[0] == 0
