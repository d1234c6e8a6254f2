"""``qa-engine rules compare``, used as an operator would before adopting an edition."""

import csv
import io
import json
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner

from qa_engine.cli.rules_compare import compare_rules
from qa_engine.demo import write_demo
from qa_engine.errors import RuleSetError

REGISTER = """\
operator: {name: Quillmere Coach Rinse (invented), time_zone: Europe/London}
vans: [{van: Quill, base: North Yard}]
tanks: [{tank: T-1, van: Quill, vessel_volume: 28 L}]
"""

RULES = """\
rule_set: house
title: House
edition: {edition}
in_force: {{from: {edition}-01}}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet water stays below the house limit
    subject: reading
    requires: outlet_tds < house_limit
    limits: {{house_limit: {{is: {limit} mg/L, basis: common practice}}}}
    grading: minor
    settled_by: resin_change
    says: Outlet water read {{outlet_tds}}.
    correction: Change the resin.
    examples:
      conforms: [{{outlet_tds: 1 mg/L}}]
      does_not_conform: [{{outlet_tds: {limit} mg/L}}]
      undecided: [{{}}]
"""

RECORDS = """\
record,kind,at,van,tank,outlet_tds
R-1,reading,2026-05-04T08:10:00+01:00,Quill,T-1,14.9
R-2,reading,2026-05-05T08:10:00+01:00,Quill,T-1,15
=R-3,reading,2026-05-06T08:10:00+01:00,Quill,T-1,19.9
R-4,reading,2026-05-07T08:10:00+01:00,Quill,T-1,20
"""


@pytest.fixture
def files(tmp_path, monkeypatch):
    """The current folder, with a register, four readings and two editions."""
    (tmp_path / "register.yaml").write_text(REGISTER)
    (tmp_path / "old.yaml").write_text(RULES.format(edition="2026-01", limit=20))
    (tmp_path / "new.yaml").write_text(RULES.format(edition="2026-06", limit=15))
    (tmp_path / "records.csv").write_text(RECORDS)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def called(*more, old="old.yaml", new="new.yaml", records=("records.csv",)):
    fixed = (old, new, *records, "--register", "register.yaml", "--as-of", "2026-06-01T12:00:00Z")
    result = CliRunner().invoke(compare_rules, [str(a) for a in (*fixed, *more)])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr


def test_the_text_says_what_would_change_and_the_work_it_implies(files):
    status, out, _ = called()
    assert status == 0
    assert "house 2026-01 -> 2026-06" in out
    assert "Two readings would newly fail; in the last 90 days 2." in out
    assert "house_limit: 20 mg/L -> 15 mg/L" in out
    assert "One resin change would be called for sooner, by two days (median)." in out
    assert "=R-3 on 6 May 2026: outlet_tds 19.9 mg/L; conforms -> does not conform" in out


def test_json_lists_exactly_the_readings_between_the_limits_twice_the_same_bytes(files):
    status, out, _ = called("--format", "json")
    report = json.loads(out)
    assert status == 0
    assert [change["subject"] for change in report["changes"]] == ["R-2", "=R-3"]
    assert report["changes"][0]["measured"] == {"outlet_tds": {"value": 15.0, "unit": "mg/L"}}
    assert report["changes"][0]["old_limits"]["house_limit"]["value"] == 20.0
    assert report["changes"][0]["new_limits"]["house_limit"]["value"] == 15.0
    (count,) = report["counts"]
    assert (count["van"], count["tank"], count["in_all"], count["last_year"]) == (
        "Quill", "T-1", 2, 2
    )  # fmt: skip
    assert report["records"] == {
        "read": 4, "accepted": 4, "refused": 0, "repeated": 0, "later": 0
    }  # fmt: skip
    assert called("--format", "json")[1] == out


def test_csv_counts_by_place_and_changes_go_to_a_file_without_formulas(files):
    status, out, err = called("--format", "csv", "--changes", "changes.csv")
    rows = list(csv.DictReader(io.StringIO(out)))
    assert status == 0
    verdicts = [row for row in rows if row["about"] == "verdicts"]
    assert [(row["tank"], row["change"], row["in_all"]) for row in verdicts] == [
        ("T-1", "newly fails", "2")
    ]
    work = {row["change"]: row["in_all"] for row in rows if row["about"] == "work"}
    assert work == {"old": "1", "new": "1", "sooner": "1"}
    with (files / "changes.csv").open() as stream:
        assert [row["subject"] for row in csv.DictReader(stream)] == ["R-2", "'=R-3"]
    assert "changes.csv" in err


def test_the_comparison_can_go_to_a_file(files):
    status, out, _ = called("--format", "json", "--out", "comparison.json")
    assert (status, out) == (0, "")
    assert json.loads((files / "comparison.json").read_text())["comparison"] == 1


def test_refused_records_make_the_comparison_incomplete(files):
    (files / "records.csv").write_text(RECORDS + "R-5,reading,yesterday,Quill,T-1,3\n")
    status, out, err = called()
    assert status == 3
    assert "One record could not be taken." in out
    assert "records.csv:6" in err


def test_nothing_to_judge_is_said_and_is_incomplete(files):
    (files / "records.csv").write_text(RECORDS.splitlines()[0] + "\n")
    status, out, _ = called()
    assert status == 3
    assert "Nothing was there to judge." in out


def test_the_same_edition_twice_changes_nothing(files):
    status, out, _ = called(new="old.yaml")
    assert status == 0
    assert "No verdict of this history changes." in out
    assert "same editions" in out


@pytest.mark.parametrize("side", ["old", "new"])
def test_a_rule_file_with_a_mistake_on_either_side_is_shown_with_its_place(files, side):
    path = files / f"{side}.yaml"
    path.write_text(path.read_text().replace("grading: minor", "grading: mild"))
    with pytest.raises(RuleSetError, match=rf"{side}\.yaml:12:14"):
        called()


def test_a_permission_in_force_is_taken_into_account(files):
    (files / "permissions.yaml").write_text("""\
permissions:
  - permission: P-1
    type: concession
    rule: house/outlet-below-house-limit
    reason: a trial of the new limit
    requested_by: P-07
    approved_by: P-08
    requested_on: 2026-05-20
    approved_on: 2026-05-21
    from: 2026-05-06
    until: 2026-05-06
""")
    _, out, _ = called("--permissions", "permissions.yaml")
    sentences = " ".join(out.split())
    assert "One reading would newly fail; in the last 90 days 1." in sentences
    assert "One reading would fail under a permission; in the last 90 days 1." in sentences


def test_lowering_the_house_limit_for_the_demo_fleet_lists_what_lies_between(tmp_path, monkeypatch):
    """Cross-checked against the readings in the files themselves."""
    monkeypatch.chdir(tmp_path)
    fleet = write_demo(tmp_path)
    for name, edition, limit in (("old", "2025-01", 20), ("new", "2026-06", 15)):
        text = RULES.format(edition=edition, limit=limit)
        (tmp_path / f"{name}.yaml").write_text(text)
    status, out, _ = called("--format", "json", records=fleet.records)
    found = {change["subject"] for change in json.loads(out)["changes"]}
    with (tmp_path / "records" / "readings.csv").open() as stream:
        rows = list(csv.DictReader(stream))
    logged = {
        row["record"]
        for row in rows
        if (written := row["outlet_tds [mg/L]"]).replace(".", "").isdigit()
        and 15 <= float(written) < 20
        and datetime.fromisoformat(row["at"]) <= datetime(2026, 6, 1, 12, tzinfo=UTC)
    }
    assert status in (0, 3)
    assert len(found) > 5
    assert found == logged
