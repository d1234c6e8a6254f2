"""``inspect --against``: what an operator sees of the time since an earlier report."""

import json

import pytest
from click.testing import CliRunner

from qa_engine.cli.program import program

REGISTER = """\
operator: {name: Quillmere Coach Rinse (invented), time_zone: Europe/London}
vans:
  - {van: Quill, base: North Yard}
tanks:
  - {tank: T-1, van: Quill}
  - {tank: T-2, van: Quill}
  - {tank: T-3, van: Quill}
"""

RULES = """\
rule_set: house
title: House
edition: 2026-01
in_force: {from: 2020-01-01}
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
"""

HEAD = "record,kind,at,tank,outlet_tds\n"
FRIDAY = "R-1,reading,2026-05-07T08:00:00Z,T-1,31\nR-2,reading,2026-05-07T08:00:00Z,T-2,32\n"
WEEKEND = "R-3,reading,2026-05-09T08:00:00Z,T-2,5\nR-4,reading,2026-05-10T08:00:00Z,T-3,40\n"


def called(*more, as_of="2026-05-11T12:00:00Z"):
    """Return the exit status, standard output and standard error of an inspection."""
    fixed = ("--register", "register.yaml", "--rules", "house.yaml", "--as-of", as_of)
    result = CliRunner().invoke(program, ["inspect", "records.csv", *fixed, *more])
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def files(tmp_path, monkeypatch):
    """A folder with Friday's report and the records of the following Monday."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "register.yaml").write_text(REGISTER)
    (tmp_path / "house.yaml").write_text(RULES)
    (tmp_path / "records.csv").write_text(HEAD + FRIDAY)
    kept = ("--format", "json", "--out", "friday.json")
    assert called(*kept, as_of="2026-05-08T12:00:00Z")[0] == 1
    (tmp_path / "records.csv").write_text(HEAD + FRIDAY + WEEKEND)
    return tmp_path


def test_the_text_says_what_changed_before_it_says_what_to_do(files):
    status, out, _ = called("--against", "friday.json")
    lines = out.splitlines()
    start = lines.index("Since Friday 8 May 2026, 13:00")
    place, rule = "Van Quill, tank T-{}", "outlet-below-house-limit (minor)"
    assert lines[start + 1] == "  One finding is new, one closed and one still open."
    assert lines[start + 2].startswith(
        f"  new: {place.format(3)}, {rule}, since 10 May 2026: Outlet"
    )
    assert lines[start + 4 : start + 6] == [
        f"  closed: {place.format(2)}, {rule}, by R-3, 9 May 2026",
        f"  still open: {place.format(1)}, {rule}, since 7 May 2026",
    ]
    assert lines.index("Do first") > start
    assert status == 1


def test_what_could_not_be_judged_again_is_said_with_its_reason(files):
    (files / "records.csv").write_text(HEAD + WEEKEND)
    out = " ".join(called("--against", "friday.json")[1].split())
    assert "none closed, none still open and two not judged this time." in out
    assert "tank T-2, outlet-below-house-limit (minor), since 7 May 2026: not read this time" in out


def test_a_record_that_can_no_longer_be_read_closes_nothing(files):
    (files / "records.csv").write_text(HEAD + FRIDAY.replace(",32", ",much") + WEEKEND)
    status, out, _ = called("--against", "friday.json", "--format", "json")
    against = json.loads(out)["against"]
    assert (status, against["closed"]) == (3, [])
    assert [one["reason"] for one in against["not_judged"]] == ["not read this time: R-2"]


def test_the_json_has_the_digest_of_the_earlier_report_and_the_same_bytes_each_time(files):
    first, second = (called("--against", "friday.json", "--format", "json")[1] for _ in "ab")
    assert first == second
    against = json.loads(first)["against"]
    assert against["as_of"] == "2026-05-08T12:00:00Z"
    assert len(against["sha256"]) == 64
    assert [len(against[name]) for name in ("new", "still_open", "closed", "not_judged")] == [
        1, 1, 1, 0,
    ]  # fmt: skip


def test_without_an_earlier_report_nothing_is_said_of_one(files):
    out = called("--format", "json")[1]
    assert "against" not in json.loads(out)
    assert "Since" not in called()[1]


def altered(files, change):
    report = json.loads((files / "friday.json").read_text())
    change(report)
    (files / "friday.json").write_text(json.dumps(report))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda report: report.update(report=2), "not a report of this program"),
        (lambda report: report.pop("inputs"), "inputs"),
        (lambda report: report["findings"][0].pop("rule"), "'rule'"),
        (lambda report: report["findings"][0].update(evidence="R-1"), "'evidence'"),
        (lambda report: report["findings"][0].update(until="yesterday"), "no time"),
        (lambda report: report["findings"].append(7), "not a finding"),
        (lambda report: report.update(as_of="2026-05-12T00:00:00Z"), "later than this inspection"),
    ],
)
def test_a_report_that_cannot_be_compared_stops_the_run_and_says_why(files, change, said):
    altered(files, change)
    status, out, err = called("--against", "friday.json")
    assert (status, out) == (2, "")
    assert said in err
    assert "friday.json" in err


@pytest.mark.parametrize("text", ["", "[" * 100_000, "{}", "\xff", "[1, 2]"])
def test_what_is_no_report_is_refused(files, text):
    (files / "friday.json").write_bytes(text.encode("latin-1"))
    status, _, err = called("--against", "friday.json")
    assert status == 2
    assert "--format json" in err
    assert called("--against", "nowhere.json")[0] == 2


def states(*more):
    """Return the state of each result of a SARIF log by its fingerprint."""
    (run,) = json.loads(called("--against", "friday.json", "--format", "sarif", *more)[1])["runs"]
    found = {
        one["fingerprints"]["finding/v1"].rpartition("/")[2]: one["baselineState"]
        for one in run["results"]
    }
    return found, run


def test_sarif_says_of_each_result_how_it_stands_against_the_earlier_report(files):
    found, run = states()
    assert found == {"R-1": "unchanged", "R-2": "absent", "R-4": "new"}
    assert run["properties"]["against"]["asOf"] == "2026-05-08T12:00:00Z"


def test_a_finding_that_goes_on_with_another_message_is_updated(files):
    (files / "records.csv").write_text(
        HEAD + FRIDAY + WEEKEND + "R-5,reading,2026-05-11T08:00:00Z,T-1,45\n"
    )
    assert states()[0]["R-1"] == "updated"


def test_what_was_not_judged_this_time_is_a_result_as_it_was_told(files):
    (files / "records.csv").write_text(HEAD + FRIDAY.replace(",32", ",much") + WEEKEND)
    found, run = states()
    assert found == {"R-1": "unchanged", "R-2": "unchanged", "R-4": "new"}
    (unjudged,) = [one for one in run["results"] if one["properties"].get("reason")]
    assert unjudged["message"]["text"].startswith("Outlet water read 32 mg/L")
    assert unjudged["properties"]["reason"] == "not read this time: R-2"


def test_sarif_without_an_earlier_report_has_no_baseline(files):
    (run,) = json.loads(called("--format", "sarif")[1])["runs"]
    assert all("baselineState" not in one for one in run["results"])
