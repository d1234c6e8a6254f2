"""The report: complete or not, worst first, and readable by people at any width."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from io import StringIO

import pytest
from rich.console import Console

from qa_engine.cli.rule_files import offered
from qa_engine.demo import write_demo
from qa_engine.inspection import Assignment, inspect
from qa_engine.intake import read_records, read_register
from qa_engine.plugin_host import installed_plugins
from qa_engine.report import Report, Tally
from qa_engine.report.as_csv import csv_report
from qa_engine.report.as_json import json_report
from qa_engine.report.as_text import show, text_report
from qa_engine.report.lasting import lasting
from qa_engine.report.sentences import counted, headline, listed
from qa_engine.subjects import Period


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The report on the demo fleet."""
    fleet = write_demo(tmp_path_factory.mktemp("fleet"))
    intake = read_records(fleet.records)
    task = Assignment(intake.frames, read_register(fleet.register), fleet.as_of)
    return Report(inspect(task, installed_plugins(), offered), Tally(intake.read))


def test_the_report_says_first_what_stands_and_then_what_to_do(demo):
    lines = text_report(demo).splitlines()
    assert "(invented)" in lines[0]
    text = "\n".join(lines)
    assert (
        text.index("stand on 31 Jul 2026") < text.index("Do first") < text.index("What was checked")
    )


def test_a_period_says_how_far_a_run_of_days_goes_past_its_ends(demo):
    """Spent resin of 7 January is held for more than 90 days from 7 April on."""
    last = demo.inspection.assignment.as_of.date()
    period = Period(last - timedelta(days=11), last - timedelta(days=10))
    task = replace(demo.inspection.assignment, period=period)
    text = " ".join(text_report(Report(inspect(task, installed_plugins(), offered))).split())
    assert "(each day from 7 Apr 2026, before the period, to 31 Jul 2026, past its end;" in text
    assert "each day" not in text_report(demo)


def row(since, until, kind="tank"):
    instants = {
        n: datetime(2026, 7, d, 12, tzinfo=UTC) for n, d in (("since", since), ("until", until))
    }
    return {**instants, "subject_kind": kind}


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (row(10, 12), "each day from 10 Jul 2026 to 12 Jul 2026; "),
        (row(9, 12), "each day from 9 Jul 2026, before the period, to 12 Jul 2026; "),
        (row(10, 13), "each day from 10 Jul 2026 to 13 Jul 2026, past the period's end; "),
        (row(9, 13), "each day from 9 Jul 2026, before the period, to 13 Jul 2026, past its end; "),
        (row(9, 13, "reading"), "since 9 Jul 2026; "),
    ],
)
def test_the_days_of_a_run_are_told_with_the_ends_of_the_period_they_pass(demo, found, told):
    period = Period(date(2026, 7, 10), date(2026, 7, 12))
    assert lasting(found, replace(demo.inspection.assignment, period=period)) == told


def test_the_worst_place_comes_first_with_its_correction_before_its_reason(demo):
    text = text_report(demo)
    first = text[text.index(" 1. ") : text.index(" 2. ")]
    assert "major" in first
    assert first.index("Shut off the supply") < first.index("T03 stood at 655 kPa")


@pytest.mark.parametrize("width", [40, 100, 200])
def test_no_line_is_wider_than_the_terminal(demo, width):
    assert max(map(len, text_report(demo, width=width).splitlines())) <= width


def test_a_pipe_gets_no_colour_and_a_terminal_does(demo):
    assert "\x1b" not in text_report(demo)
    out = StringIO()
    show(demo, Console(file=out, force_terminal=True, width=100, color_system="truecolor"))
    assert "\x1b[" in out.getvalue()


def test_what_was_read_is_accepted_refused_or_later(demo):
    import json

    records = json.loads(json_report(demo))["records"]
    assert records["read"] == records["accepted"] + records["refused"] + records["later"]


def test_findings_come_worst_first_then_by_place_and_time(demo):
    order = {"major": 0, "minor": 1, "advice": 2}
    last = "\U0010ffff"  # nulls last
    keys = [
        (order[f["grading"]], f["van"] or last, f["tank"] or last, f["since"], f["rule"])
        for f in demo.inspection.findings.to_dicts()
    ]
    assert keys == sorted(keys)


def test_every_edition_that_judged_is_named_with_its_digest(demo):
    import json

    report = json.loads(json_report(demo))
    known = {(e["rule_set"], e["edition"]) for e in report["rule_sets"] if len(e["sha256"]) == 64}
    assert {(f["rule_set"], f["edition"]) for f in report["findings"]} <= known


def test_csv_has_a_row_for_each_finding(demo):
    assert csv_report(demo).count("\nrinse") > 0
    assert len(csv_report(demo).splitlines()) == demo.inspection.findings.height + 1


def test_refused_records_make_a_report_incomplete_whatever_was_found(demo):
    assert (demo.complete, demo.exit_status) == (True, 1)
    refused = replace(demo, tally=Tally(read=5, refused=1))
    assert (refused.complete, refused.exit_status) == (False, 3)
    assert "The report is incomplete." in headline(refused)
    assert "One record could not be taken." in text_report(refused)


@pytest.mark.parametrize(
    ("number", "text"), [(0, "no tanks"), (1, "one tank"), (9, "nine tanks"), (1200, "1,200 tanks")]
)
def test_small_numbers_are_words(number, text):
    assert counted(number, "tank") == text


def test_a_list_in_prose_ends_with_and():
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"
