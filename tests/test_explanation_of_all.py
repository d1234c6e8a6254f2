"""Explanations of all findings of an inspection: each its own, in one go, in JSON and in text."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from click.testing import CliRunner

from qa_engine import inspection
from qa_engine.cli.program import program
from qa_engine.cli.rule_files import offered
from qa_engine.demo import write_demo
from qa_engine.explanation import ExplanationError, explain_finding, finding, inspect_explained
from qa_engine.explanation.as_json import member_data
from qa_engine.inspection import Assignment, inspect
from qa_engine.intake import read_records, read_register
from qa_engine.plugin_host import installed_plugins
from qa_engine.report import Report
from qa_engine.report.as_json import json_report
from qa_engine.report.as_text import text_report
from qa_engine.subjects import Period

PERIOD = Period(date(2026, 7, 1), date(2026, 7, 31))


@pytest.fixture(scope="module")
def task(tmp_path_factory):
    """The demo fleet, to be inspected."""
    fleet = write_demo(tmp_path_factory.mktemp("fleet"))
    intake = read_records(fleet.records)
    return Assignment(intake.frames, read_register(fleet.register), fleet.as_of)


def explained(task):
    """Return the report of an inspection with its explanations."""
    found, why = inspect_explained(task, installed_plugins(), offered)
    return Report(found, explained=why)


@pytest.fixture(scope="module")
def demo(task):
    return explained(task)


@pytest.fixture(scope="module")
def by_day(task):
    return explained(replace(task, period=PERIOD))


def told(report):
    """Return the findings of a report's JSON."""
    return json.loads(json_report(report))["findings"]


def check(report):
    """Hold every finding against its explanation."""
    findings = told(report)
    assert len(findings) > 50
    for one in findings:
        why = one["explanation"]
        assert why["outcome"] == one["outcome"].replace(" ", "_")
        assert datetime.fromisoformat(why["at"]) == datetime.fromisoformat(one["until"])
        assert sorted(why["missing"]) == sorted(one["missing"])
        assert {f["name"]: f["value"] for f in why["facts"]} == {
            name: value["value"] for name, value in one["measured"].items()
        }
        assert {f["record"] for f in why["facts"]} - {None} <= set(one["evidence"])
        assert [limit["value"] for limit in why["limits"]] == [
            limit["value"] for limit in one["limits"].values()
        ]
        assert why["requires"]["decisive"]


def test_every_finding_of_the_demo_is_explained_by_its_outcome_facts_and_records(demo):
    check(demo)


def test_in_a_period_each_run_of_a_thing_has_its_own_explanation(by_day, demo):
    check(by_day)
    findings = told(by_day)
    things = [one for one in findings if one["subject"]["kind"] in ("tank", "charge", "van")]
    assert any(one["until"] < "2026-07-30" for one in things)  # judged on another day than as of


def test_a_thing_that_fails_twice_in_a_period_is_explained_twice_under_one_name(by_day):
    names = [one["finding"] for one in told(by_day)]
    twice = {name for name in names if names.count(name) > 1}
    assert twice
    for name in twice:
        runs = [one for one in told(by_day) if one["finding"] == name]
        assert len({one["explanation"]["at"] for one in runs}) == len(runs)


def test_what_was_looked_for_and_what_would_settle_it_stands_with_what_is_undecided(demo):
    """No resin change says which grade T12 holds, so no limit for its outlet can be chosen."""
    one = next(
        one
        for one in told(demo)
        if one["rule"] == "outlet-after-change-within-grade-limit" and one["tank"] == "T12"
    )
    sought = one["explanation"]["missing"]["grade_outlet_after"]
    assert sought["lacking"]
    flat = json.dumps(sought)
    assert "settled_by" in flat
    assert "model for" in flat
    assert one["explanation"]["cases"]["grade_outlet_after"]


def test_explained_together_or_alone_a_finding_has_the_same_explanation(task, demo):
    chosen = {one["outcome"]: one for one in told(demo)}
    assert len(chosen) == 2
    for one in chosen.values():
        alone = explain_finding(one["finding"], task, installed_plugins(), offered)
        assert json.loads(json.dumps(member_data(alone))) == one["explanation"]


def test_without_explanations_the_report_is_the_same_but_for_them(task, demo):
    plain = json.loads(json_report(Report(inspect(task, installed_plugins(), offered))))
    full = json.loads(json_report(demo))
    assert all("explanation" not in one for one in plain["findings"])
    for one in full["findings"]:
        del one["explanation"]
    assert full == plain


def test_the_same_inspection_gives_the_same_bytes_however_it_is_cut_into_blocks(task, demo):
    assert json_report(explained(replace(task, blocks=5))) == json_report(demo)


def test_nothing_is_judged_again_for_explanations(task, monkeypatch):
    calls = []

    def counting(*arguments):
        calls.append(arguments)
        return judge(*arguments)

    judge = inspection.judge
    monkeypatch.setattr(inspection, "judge", counting)
    inspect(task, installed_plugins(), offered)
    plain = len(calls)
    inspect_explained(task, installed_plugins(), offered)
    assert len(calls) == 2 * plain


def test_an_explanation_that_would_differ_from_the_verdict_is_refused(task, monkeypatch):
    explain = finding.explain
    monkeypatch.setattr(finding, "explain", lambda *of: replace(explain(*of), outcome=1))
    with pytest.raises(ExplanationError, match="but by itself it would be conforms; please report"):
        inspect_explained(task, installed_plugins(), offered)


def test_the_text_names_under_each_reason_what_decided_and_the_name_to_ask_by(demo):
    lines = [line.strip() for line in text_report(demo, width=200).splitlines()]
    name = "rinse-water/outlet-below-stop-limit/reading/RD-T07-260717-2"
    place = lines.index(name)
    assert lines[place - 1].endswith(" < stop_limit: 36 mg/L is not below 30 mg/L")
    assert "36 mg/L; rinsing stops at 30 mg/L" in lines[place - 2]


def test_the_text_without_explanations_is_what_it_was(task, demo):
    plain = text_report(replace(demo, explained=None))
    assert "< stop_limit" not in plain
    added = set(text_report(demo).splitlines()) - set(plain.splitlines())
    assert all(line.startswith("        ") for line in added)
    assert set(plain.splitlines()) <= set(text_report(demo).splitlines())


REGISTER = """\
operator: {name: Quillmere Coach Rinse (invented), time_zone: UTC}
vans:
  - {van: Quill, base: North Yard}
tanks:
  - {tank: T-1, van: Quill, vessel_volume: 28 L}
"""

RULES = """\
rule_set: house
title: House
edition: 2026-01
in_force: {from: 2020-01-01}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet water below the house limit
    subject: reading
    requires: outlet_tds < house_limit
    limits:
      house_limit: {is: 20 mg/L, basis: common practice}
    grading: minor
    says: Outlet water read {outlet_tds}.
    correction: Change the resin.
    examples:
      conforms: [{outlet_tds: 19.9 mg/L}]
      does_not_conform: [{outlet_tds: 20 mg/L}]
      undecided: [{}]
"""

RECORDS = """\
record,kind,at,van,tank,outlet_tds
RD-1,reading,2026-05-04T08:10:00Z,Quill,T-1,36
RD-2,reading,2026-05-05T08:10:00Z,Quill,T-1,
"""

PERMISSIONS = """\
permissions:
  - permission: DP-1
    type: deviation permit
    rule_set: house
    scope: {van: Quill}
    reason: The new resin arrives on Friday.
    requested_by: P-07
    approved_by: P-01
    requested_on: 2026-05-02
    approved_on: 2026-05-03
    from: 2026-05-04
    until: 2026-05-04
"""

FIXED = ("records.csv", "--register", "register.yaml", "--rules", "house.yaml")
AS_OF = ("--as-of", datetime(2026, 6, 1, tzinfo=UTC).isoformat())


@pytest.fixture
def files(tmp_path, monkeypatch):
    """A folder with the files of an operator; the current folder."""
    (tmp_path / "register.yaml").write_text(REGISTER)
    (tmp_path / "house.yaml").write_text(RULES)
    (tmp_path / "records.csv").write_text(RECORDS)
    (tmp_path / "permissions.yaml").write_text(PERMISSIONS)
    monkeypatch.chdir(tmp_path)


def called(*arguments):
    return CliRunner().invoke(program, [*arguments, *AS_OF])


def test_the_option_puts_an_explanation_into_every_finding(files):
    report = json.loads(called("inspect", *FIXED, "--format", "json", "--explain").stdout)
    failing, undecided = (one["explanation"] for one in report["findings"])
    assert failing["requires"] == {
        "condition": "outlet_tds < house_limit",
        "line": 10,
        "column": 15,
        "holds": False,
        "decisive": True,
        "names": ["outlet_tds", "house_limit"],
        "says": "36 mg/L is not below 20 mg/L",
        "sign": "<",
        "left": {"value": 36.0, "unit": "mg/L"},
        "right": {"value": 20.0, "unit": "mg/L"},
    }
    (looked_for,) = undecided["missing"]["outlet_tds"]["made_of"]
    assert looked_for["found"] == (
        "it states none; the last reading of tank T-1 that does is RD-1 of 4 May 2026, 08:10, "
        "1 day before: 36 mg/L"
    )
    assert (looked_for["record"], looked_for["at"]) == ("RD-1", "2026-05-04T08:10:00Z")
    assert looked_for["settled_by"].startswith("a correction of RD-2 that states outlet tds")


@pytest.mark.parametrize("form", ["csv", "sarif"])
def test_a_format_without_a_place_for_explanations_refuses_them(files, form):
    result = called("inspect", *FIXED, "--format", form, "--explain")
    assert result.exit_code == 2
    assert f"--explain goes with --format text or json, not with {form}" in result.stderr


def test_a_single_explanation_says_which_permission_its_finding_is_under(files):
    name = "house/outlet-below-house-limit/reading/RD-1"
    without = called("rules", "explain", name, *FIXED)
    under = called("rules", "explain", name, *FIXED, "--permissions", "permissions.yaml")
    assert under.stdout == without.stdout + "Under the permission DP-1.\n"
