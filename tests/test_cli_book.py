"""``qa-engine book``, and a record book where other commands take files of records."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from qa_engine.book import open_book
from qa_engine.cli.program import program
from qa_engine.demo import AS_OF, write_demo

REGISTER = """
operator: {name: Invented Rinsing, time_zone: Europe/Paris}
vans: [{van: V1, base: north}]
tanks: [{tank: T1, van: V1, vessel_volume: 20 L}]
"""
DAY = """record,kind,at,van,tank,outlet_tds,sampled
R1,reading,2026-03-01T08:00:00Z,V1,T1,12.5,flowing
R2,reading,2026-03-02T08:00:00Z,V1,T1,14,flowing
"""
RULES = """
rule_set: house
title: House rules
edition: 2026-01
in_force: {from: 2026-01-01}
owner: nobody
rules:
  - rule: low
    title: Low
    subject: reading
    requires: outlet_tds < limit
    limits: {limit: {is: 20 mg/L, basis: common practice}}
    grading: minor
    says: It read {outlet_tds}.
    correction: Change the resin.
    examples:
      conforms: [{outlet_tds: 19 mg/L}]
      does_not_conform: [{outlet_tds: 20 mg/L}]
      undecided: [{}]
  - rule: timely
    title: Entered in time
    subject: reading
    requires: entered_after <= limit
    limits: {limit: {is: 72 h, basis: "common practice, no published source"}}
    grading: advice
    says: It was entered {entered_after} after it happened.
    correction: Enter what is done on the same day.
    examples:
      conforms: [{entered_after: 72 h}]
      does_not_conform: [{entered_after: 73 h}]
      undecided: [{}]
"""


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """Return a folder with a register, records and rules, where commands are run."""
    monkeypatch.chdir(tmp_path)
    Path("register.yaml").write_text(REGISTER)
    Path("day.csv").write_text(DAY)
    Path("rules.yaml").write_text(RULES)
    return tmp_path


def run(*words, status=0):
    """Run the program and return what it writes to standard output and standard error."""
    done = CliRunner().invoke(program, [str(word) for word in words])
    assert done.exit_code == status, done.output
    return done.stdout, done.stderr


@pytest.fixture
def filled(desk, book_url):
    """Return the address of a book that has the records of the day."""
    run("book", "create", book_url, "--by", "P1", "--register", "register.yaml")
    run("book", "add", book_url, "day.csv", "--by", "P1")
    return book_url


def test_a_book_is_made_and_files_are_added(desk, book_url):
    out, _ = run("book", "create", book_url, "--by", "P1", "--register", "register.yaml")
    assert "made for Invented Rinsing." in out
    assert run("book", "add", book_url, "day.csv", "--by", "P1")[0] == (
        "day.csv: 2 entries added.\n"
    )
    assert run("book", "add", book_url, "day.csv", "--by", "P1")[0] == (
        "day.csv: the book has it already; nothing was added.\n"
    )
    with open_book(book_url) as book:
        assert book.size() == 4
        assert book.register().table("tanks")["tank"].to_list() == ["T1"]
        assert book.frames()["reading"]["record"].to_list() == ["R1", "R2"]


def test_a_book_needs_an_operator_and_a_zone_that_exists(desk):
    assert "give --register" in run("book", "create", "f.book", "--by", "P1", status=2)[1]
    words = ("book", "create", "f.book", "--by", "P1", "--operator", "x", "--time-zone")
    assert "is not known" in run(*words, "Europe/Pariss", status=2)[1]
    run(*words, "Europe/Paris")
    with open_book("f.book") as book:
        assert book.register().zone.key == "Europe/Paris"


def test_who_enters_must_be_said(desk, monkeypatch):
    words = ("book", "create", "f.book", "--register", "register.yaml")
    assert "--by" in run(*words, status=2)[1]
    monkeypatch.setenv("QA_ENGINE_BY", "P7")
    run(*words)


def test_rows_that_cannot_be_taken_are_told_and_the_rest_is_kept(desk, filled):
    Path("next.csv").write_text(
        DAY + "R3,reading,2026-03-03T08:00:00Z,V1,T1,14,flowing\nR4,x,,,,,\n"
    )
    out, err = run("book", "add", filled, "next.csv", "--by", "P1", status=3)
    assert out == "next.csv: 1 entry added, 2 the book has word for word, 1 refused.\n"
    assert "next.csv:5: record R4" in err


def test_a_record_that_the_book_has_otherwise_is_refused_and_told(desk, filled):
    Path("next.csv").write_text(DAY.replace("12.5", "13.5"))
    out, err = run("book", "add", filled, "next.csv", "--by", "P1", status=3)
    assert out == "next.csv: 0 entries added, 1 the book has word for word, 1 refused.\n"
    assert "record R1: the book has it otherwise (entry 3: outlet_tds)" in err
    mend = ("book", "add", filled, "next.csv", "--by", "P1", "--correct")
    assert "--correct needs --reason" in run(*mend, status=2)[1]
    out, _ = run(*mend, "--reason", "misread")
    assert out == "next.csv: 1 entry added, 1 the book has word for word.\n"


def test_a_correction_says_why_and_takes_only_what_is_in_the_book(desk, filled):
    Path("mended.csv").write_text(DAY.replace("12.5", "31"))
    words = ("book", "correct", filled, "mended.csv", "--by", "P2")
    assert "--reason" in run(*words, status=2)[1]
    assert run(*words, "--reason", "misread")[0] == ("1 corrected, 1 the book has word for word.\n")
    Path("mended.csv").write_text(DAY.replace("R1", "R9"))
    assert "nothing to correct: R9" in run(*words, "--reason", "misread", status=2)[1]
    with open_book(filled) as book:
        assert book.frames()["reading"]["outlet_tds"].to_list() == [31.0, 14.0]


def test_a_correction_can_be_taken_back_by_another_one(desk, filled):
    for name, tds in (("a.csv", "31"), ("b.csv", "12.5"), ("a.csv", "31")):
        Path(name).write_text(DAY.replace("12.5", tds))
        out, _ = run("book", "correct", filled, name, "--by", "P2", "--reason", "misread")
        assert out.startswith("1 corrected")


def test_a_new_register_holds_from_then_on(desk, filled):
    Path("register.yaml").write_text(REGISTER.replace("20 L", "30 L"))
    words = ("book", "add", filled, "--by", "P1", "--register", "register.yaml")
    assert run(*words)[0] == "register.yaml: taken in.\n"
    assert run(*words)[0] == "register.yaml: the book has it already.\n"
    with open_book(filled) as book:
        assert book.register().table("tanks")["vessel_volume"].to_list() == [30.0]


@pytest.mark.parametrize(
    "words",
    [
        ("inspect", "--rules", "rules.yaml"),
        ("rules", "explain", "house/low/reading/R1", "--rules", "rules.yaml"),
        ("rules", "compare", "rules.yaml", "rules.yaml"),
        ("forecast",),
        ("models", "explain", "T1"),
    ],
)
def test_a_command_says_the_same_of_a_book_and_of_its_files(desk, filled, words):
    Path("rules.yaml").write_text(RULES[: RULES.index("  - rule: timely")])
    as_of = ("--as-of", "2026-03-05T00:00:00Z", "--format", "json")

    def told(*given):
        done = CliRunner().invoke(program, [*words, *given, *as_of])
        assert done.stdout, done.output
        return done.exit_code, json.loads(done.stdout)

    assert told(filled) == told("day.csv", "--register", "register.yaml")


def test_the_demo_fleet_is_judged_alike_from_a_book_and_from_files(tmp_path):
    fleet = write_demo(tmp_path)
    book = tmp_path / "fleet.book"
    run("book", "create", book, "--by", "P1", "--register", fleet.register)
    run("book", "add", book, *fleet.records, "--by", "P1")
    words = ("--as-of", AS_OF.isoformat(), "--format", "json")
    reports = [
        CliRunner().invoke(program, ["inspect", *map(str, given), *words]).stdout
        for given in ([book], [*fleet.records, "--register", fleet.register])
    ]
    assert json.loads(reports[0])["findings"] == json.loads(reports[1])["findings"]


@pytest.fixture
def clock(monkeypatch):
    """Return what sets the time by which commands enter records."""
    from qa_engine.cli import book_add, book_correct, book_create, instants

    time = {}
    for module in (book_add, book_correct, book_create):
        monkeypatch.setattr(module, "now", lambda: time["now"])

    def at(written):
        time["now"] = instants.known_then(written, None)

    return at


def test_late_entries_are_seen_by_rules_in_a_book_and_undecided_in_files(desk, clock, book_url):
    words = ("--rules", "rules.yaml", "--as-of", "2026-03-05T00:00:00Z", "--format", "json")

    def timely(*records):
        found = json.loads(run("inspect", *records, *words)[0])["findings"]
        return [one["outcome"] for one in found if one["rule"] == "timely"]

    clock("2026-03-01T00:00:00Z")
    run("book", "create", book_url, "--by", "P1", "--register", "register.yaml")
    clock("2026-05-01T00:00:00Z")
    run("book", "add", book_url, "day.csv", "--by", "P1")
    assert timely(book_url) == ["does not conform"]
    assert timely("day.csv", "--register", "register.yaml") == ["undecided"]


def test_what_happened_before_the_book_was_begun_is_neither_late_nor_in_time(desk, filled):
    words = ("--rules", "rules.yaml", "--as-of", "2026-03-05T00:00:00Z", "--format", "json")
    of_book = json.loads(run("inspect", filled, *words)[0])
    late = [one["outcome"] for one in of_book["findings"] if one["rule"] == "timely"]
    assert late == ["undecided"]


def test_what_was_known_then_is_judged_as_it_was_known(desk, book_url, clock):
    clock("2026-03-01T00:00:00Z")
    run("book", "create", book_url, "--by", "P1", "--register", "register.yaml")
    clock("2026-03-03T00:00:00Z")
    run("book", "add", book_url, "day.csv", "--by", "P1")
    clock("2026-03-09T00:00:00Z")
    Path("mended.csv").write_text(DAY.replace("12.5", "31"))
    run("book", "correct", book_url, "mended.csv", "--by", "P1", "--reason", "misread")

    def found(known_at, status):
        words = ("inspect", book_url, "--rules", "rules.yaml", "--format", "json")
        told = json.loads(run(*words, "--known-at", known_at, status=status)[0])
        failed = [f["subject"]["id"] for f in told["findings"] if f["rule"] == "low"]
        return told["records"]["accepted"], failed

    assert found("2026-03-02T00:00:00Z", 3) == (0, [])
    assert found("2026-03-05T00:00:00Z", 0) == (2, [])
    assert found("2026-03-09T00:00:00Z", 0) == (2, ["R1"])  # R2 has closed it since


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("none.book",), "none.book: no such file; make it with: qa-engine book create"),
        (("day.csv",), "name the register with --register FILE"),
        (("none.book", "day.csv"), "none.book is a record book, and stands alone"),
        (
            ("day.csv", "--register", "register.yaml", "--known-at", "2026-03-05T00:00:00Z"),
            "--known-at asks what a record book knew",
        ),
        (("none.book", "--known-at", "yesterday"), "'yesterday' is not a time"),
    ],
)
def test_a_wrong_call_is_told_what_would_do(desk, words, says):
    assert says in run("inspect", *words, status=2)[1]
