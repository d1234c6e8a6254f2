"""Permissions on the command line: a last day holds to its end and not a microsecond longer."""

import csv
import io
import json
from datetime import datetime, timedelta

import pytest
from click.testing import CliRunner

from qa_engine.cli.program import program
from qa_engine.cli.rules_compare import compare_rules

REGISTER = """\
operator: {{name: Quillmere Coach Rinse (invented), time_zone: {zone}}}
vans:
  - {{van: Quill, base: North Yard}}
tanks:
  - {{tank: T-1, van: Quill}}
"""

RULES = """\
rule_set: house
title: House
edition: 2015-01
in_force: {from: 2015-01-01}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet water stays below the house limit
    subject: reading
    requires: outlet_tds < house_limit
    limits:
      house_limit: {is: 20 mg/L, basis: common practice}
    grading: minor
    says: Outlet water read {outlet_tds}; the limit is {house_limit}.
    correction: Finish this vehicle, then change the resin.
    examples:
      conforms: [{outlet_tds: 19.9 mg/L}]
      does_not_conform: [{outlet_tds: 20 mg/L}]
      undecided: [{}]
  - rule: tank-has-a-vessel-volume
    title: The register says how much the vessel holds
    subject: tank
    requires: recorded(vessel_volume)
    grading: minor
    says: Nobody entered the volume of {tank}.
    correction: Read the data plate.
    examples:
      conforms: [{vessel_volume: 28 L}]
      does_not_conform: [{}]
"""

PERMISSIONS = """\
longest: 30 days
permissions:
  - permission: DP-1
    type: deviation permit
    rule_set: house
    scope: {{van: Quill}}
    reason: Resin and plates are being replaced.
    requested_by: P-07
    approved_by: P-01
    requested_on: 2016-01-02
    approved_on: 2016-01-03
    from: {first}
    until: {last}
"""

HEAD = "record,kind,at,van,tank,by,outlet_tds\n"
ROW = "{},reading,{}Z,Quill,T-1,P-07,31\n"

# The zone, the last day, and the first instant after it in UTC: an ordinary day; those before and
# of a change to summer time; those before and of a day whose midnight is skipped; one of 25 hours.
LAST_DAYS = [
    ("Europe/London", "2026-05-08", "2026-05-08T23:00:00"),
    ("Europe/London", "2026-03-28", "2026-03-29T00:00:00"),
    ("Europe/London", "2026-03-29", "2026-03-29T23:00:00"),
    ("Europe/London", "2026-10-25", "2026-10-26T00:00:00"),
    ("Atlantic/Azores", "2026-03-28", "2026-03-29T01:00:00"),
    ("Atlantic/Azores", "2026-10-24", "2026-10-25T00:00:00"),
    ("America/Sao_Paulo", "2018-11-03", "2018-11-04T03:00:00"),
    ("America/Sao_Paulo", "2018-02-17", "2018-02-18T03:00:00"),
]


def just_before(instant):
    return (datetime.fromisoformat(instant) - timedelta(microseconds=1)).isoformat()


def write(folder, zone, last, ends):
    """Write the files of an operator: a reading at the end of a permission and one before it."""
    first = (datetime.fromisoformat(last) - timedelta(days=9)).date()
    (folder / "register.yaml").write_text(REGISTER.format(zone=zone))
    (folder / "house.yaml").write_text(RULES)
    (folder / "permissions.yaml").write_text(PERMISSIONS.format(first=first, last=last))
    rows = ROW.format("before", just_before(ends)) + ROW.format("after", ends)
    (folder / "records.csv").write_text(HEAD + rows)


def inspected(*more):
    arguments = ("records.csv", "--register", "register.yaml", "--rules", "house.yaml", *more)
    result = CliRunner().invoke(program, ["inspect", *arguments])
    return result.exit_code, result.stdout, result.stderr


def permitted(*more):
    return inspected("--permissions", "permissions.yaml", *more)


@pytest.mark.parametrize(("zone", "last", "ends"), LAST_DAYS)
def test_every_format_and_the_exit_status_agree_to_the_microsecond(
    tmp_path, monkeypatch, zone, last, ends
):
    monkeypatch.chdir(tmp_path)
    write(tmp_path, zone, last, ends)
    for as_of, state, reading, tank, status in [
        (just_before(ends), "in force", ["DP-1"], "DP-1", 0),
        (ends, "lapsed", ["DP-1", None], None, 1),
    ]:
        at = ("--as-of", f"{as_of}Z")
        exit_status, out, err = permitted(*at, "--format", "json")
        assert (exit_status, err) == (status, "")
        report = json.loads(out)
        of_reading = sorted(f["permission"] or "" for f in report["findings"] if f["evidence"])
        assert of_reading == sorted(p or "" for p in reading)
        assert [f["permission"] for f in report["findings"] if not f["evidence"]] == [tank]
        assert [p["state"] for p in report["permissions"]] == [state]
        rows = list(csv.DictReader(io.StringIO(permitted(*at, "--format", "csv")[1])))
        assert sorted(row["permission"] for row in rows if row["evidence"]) == of_reading
        assert f"DP-1  {state}" in permitted(*at)[1]


@pytest.mark.parametrize(("zone", "last", "ends"), LAST_DAYS)
def test_a_comparison_of_rules_agrees_too(tmp_path, monkeypatch, zone, last, ends):
    """Both readings pass 40 mg/L and fail 20 mg/L; only the first would be under permission."""
    monkeypatch.chdir(tmp_path)
    write(tmp_path, zone, last, ends)
    (tmp_path / "lenient.yaml").write_text(RULES.replace("is: 20 mg/L", "is: 40 mg/L"))
    arguments = ("lenient.yaml", "house.yaml", "records.csv", "--register", "register.yaml")
    more = ("--permissions", "permissions.yaml", "--as-of", f"{ends}Z", "--changes", "changes.csv")
    result = CliRunner().invoke(compare_rules, [*arguments, *more])
    assert result.exit_code == 0, result.stderr
    rows = csv.DictReader((tmp_path / "changes.csv").read_text().splitlines())
    assert {row["subject"]: row["change"] for row in rows} == {
        "before": "fails under permission",
        "after": "newly fails",
    }


@pytest.fixture
def files(tmp_path, monkeypatch):
    """The files of an operator whose permission lapses with 8 May; the current folder."""
    write(tmp_path, *LAST_DAYS[0])
    monkeypatch.chdir(tmp_path)
    return tmp_path


NOON = ("--as-of", "2026-05-08T22:59:59.999999Z")


def test_what_is_permitted_is_shown_and_counted_and_exits_with_0(files):
    status, out, _ = permitted(*NOON)
    text = " ".join(out.split())
    assert status == 0
    assert "Two findings stand under permission." in text
    assert "Outlet water read 31 mg/L; the limit is 20 mg/L." in text
    assert "Resin and plates are being replaced." in text
    assert inspected(*NOON)[0] == 1


def test_the_report_binds_the_file_that_the_permissions_came_from(files):
    from hashlib import sha256

    digest = sha256((files / "permissions.yaml").read_bytes()).hexdigest()
    (one,) = json.loads(permitted(*NOON, "--format", "json")[1])["permissions"]
    assert one == {
        "permission": "DP-1",
        "type": "deviation permit",
        "rule_set": "house",
        "rule": None,
        "scope": {"van": "Quill", "tank": None},
        "reason": "Resin and plates are being replaced.",
        "requested_by": "P-07",
        "requested_on": "2016-01-02",
        "approved_by": "P-01",
        "approved_on": "2016-01-03",
        "from": "2026-04-29",
        "until": "2026-05-08",
        "state": "in force",
        "uses": 2,
        "problems": [],
        "sha256": digest,
    }


def test_without_permissions_the_list_is_there_and_empty(files):
    assert json.loads(inspected(*NOON, "--format", "json")[1])["permissions"] == []


def test_a_self_approved_permission_changes_nothing_but_is_told(files):
    text = (files / "permissions.yaml").read_text()
    (files / "permissions.yaml").write_text(text.replace("P-01", "P-07"))
    status, out, _ = permitted(*NOON)
    assert status == 1
    assert "DP-1  covers nothing" in out
    assert "self-approved: P-07 both asked for it and approved it" in out


def test_a_permissions_file_that_is_wrong_exits_with_2_and_every_place(files):
    text = (files / "permissions.yaml").read_text()
    text = text.replace("until: 2026-05-08", "until: tomorrow").replace("reason:", "raeson:")
    (files / "permissions.yaml").write_text(text)
    status, out, err = permitted(*NOON)
    assert (status, out) == (2, "")
    assert "permissions.yaml:7:5: 'raeson' is not a key of a permission" in err
    assert "permissions.yaml:13:12: 'until': 'tomorrow' is not a time" in err


def test_a_permissions_file_that_is_not_there_exits_with_2_and_its_name(files):
    status, _, err = inspected("--permissions", "nowhere.yaml", *NOON)
    assert status == 2
    assert "nowhere.yaml: no such file" in err
