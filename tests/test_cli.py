"""The command line, used as its users would: with right files and with wrong ones."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from freezegun import freeze_time

from qa_engine.cli.program import program

REGISTER = """\
operator: {name: Quillmere Coach Rinse (invented), time_zone: Europe/London}
vans:
  - {van: Quill, base: North Yard}
tanks:
  - {tank: T-1, van: Quill, vessel_volume: 28 L, bore: 200 mm, rated_pressure: 150 psi}
meters:
  - {meter: M-1, factor: 0.5, compensation: yes}
"""

HEAD = "record,kind,at,van,tank,by,meter,sampled,inlet_tds,outlet_tds\n"
ROW = "{},reading,2026-05-0{}T08:10:00+01:00,Quill,T-1,P-07,M-1,flowing,182,{}\n"

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
    applies_if: sampled == "flowing"
    requires: outlet_tds < house_limit
    limits:
      house_limit: {is: 20 mg/L, basis: common practice}
    grading: minor
    says: Outlet water read {outlet_tds}; the limit is {house_limit}.
    correction: Finish this vehicle, then change the resin.
    examples:
      conforms: [{outlet_tds: 19.9 mg/L, sampled: flowing}]
      does_not_conform: [{outlet_tds: 20 mg/L, sampled: flowing}]
      undecided: [{sampled: flowing}]
      not_applicable: [{outlet_tds: 35 mg/L, sampled: first flush}]
"""


@pytest.fixture
def files(tmp_path, monkeypatch):
    """A folder with a register, a rule file and a record that conforms; the current folder."""
    (tmp_path / "register.yaml").write_text(REGISTER)
    (tmp_path / "house.yaml").write_text(RULES)
    (tmp_path / "records.csv").write_text(HEAD + ROW.format("R-1", 4, 5))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def called(*arguments):
    """Return what the program answers: exit status, standard output and standard error."""
    result = CliRunner().invoke(program, [str(a) for a in arguments])
    return result.exit_code, result.stdout, result.stderr


def inspected(*more):
    fixed = ("--register", "register.yaml", "--rules", "house.yaml")
    return called("inspect", "records.csv", *fixed, "--as-of", "2026-06-01T12:00:00Z", *more)


def test_records_that_conform_exit_with_0_and_say_so(files):
    status, out, err = inspected()
    assert (status, err) == (0, "")
    assert "Everything that could be decided conforms on 1 Jun 2026." in out


def test_a_reading_beyond_the_limit_exits_with_1_and_names_record_and_correction(files):
    (files / "records.csv").write_text(HEAD + ROW.format("R-1", 4, "31"))
    status, out, _ = inspected()
    assert status == 1
    assert "Outlet water read 31 mg/L; the limit is 20 mg/L." in out
    assert "Finish this vehicle, then change the resin." in out
    assert "evidence R-1" in out


def test_advice_alone_does_not_fail(files):
    (files / "house.yaml").write_text(RULES.replace("minor", "advice"))
    (files / "records.csv").write_text(HEAD + ROW.format("R-1", 4, "31"))
    assert inspected()[0] == 0


def test_five_odd_rows_each_get_their_answer(files):
    """25 ppm fails with its record; NaN and nothing are undecided; two rows are refused."""
    rows = [
        ROW.format("R-1", 4, "25 ppm"),
        ROW.format("R-2", 5, "NaN"),
        ROW.format("R-3", 6, ""),
        ROW.format("R-4", 7, 5).replace("reading", "raeding"),
        ROW.format("R-5", 8, 5).replace("+01:00", ""),
    ]
    (files / "records.csv").write_text(HEAD + "".join(rows))
    status, out, err = inspected("--format", "json", "--refused", "refused.csv")
    report = json.loads(out)
    assert (status, report["complete"]) == (3, False)
    fails, open_ = report["findings"]
    assert (fails["outcome"], fails["evidence"]) == ("does not conform", ["R-1"])
    assert fails["measured"]["outlet_tds"] == {"value": 25.0, "unit": "mg/L"}
    assert (open_["outcome"], open_["evidence"]) == ("undecided", ["R-2", "R-3"])
    assert report["records"]["read"] == 5
    assert (report["records"]["accepted"], report["records"]["refused"]) == (3, 2)
    assert "records.csv:5:" in err
    assert "did you mean 'reading'" in err
    assert "records.csv:6:" in err
    assert "has no offset" in err
    refused = Path("refused.csv").read_text()
    assert "R-4" in refused
    assert "R-5" in refused


def test_times_without_offset_are_taken_once_the_zone_is_named(files):
    (files / "records.csv").write_text(HEAD + ROW.format("R-1", 4, 31).replace("+01:00", ""))
    status, out, _ = inspected("--format", "json", "--time-zone", "Europe/London")
    assert status == 1
    assert json.loads(out)["findings"][0]["since"] == "2026-05-04T07:10:00Z"


def test_two_calls_give_the_same_bytes(files):
    (files / "records.csv").write_text(HEAD + ROW.format("R-1", 4, 31))
    first, second = inspected("--format", "json"), inspected("--format", "json")
    assert first[1] == second[1]
    assert first[1].endswith("}\n")


def test_a_spreadsheet_does_not_take_a_finding_for_a_formula(files):
    (files / "house.yaml").write_text(RULES.replace("says: Outlet", "says: =1+1 Outlet"))
    (files / "records.csv").write_text(HEAD + ROW.format("R-1", 4, 31))
    assert "'=1+1 Outlet" in inspected("--format", "csv")[1]


def test_the_report_goes_to_a_file_when_one_is_named(files):
    status, out, err = inspected("--format", "json", "--out", "report.json")
    assert (status, out) == (0, "")
    assert "report.json" in err
    assert json.loads(Path("report.json").read_text())["report"] == 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--as-of", "yesterday"), "is not a time"),
        (("--from", "2026-05-01"), "--from and --to go together"),
        (("--from", "2026-05-02", "--to", "2026-05-01"), "ends (2026-05-01) before it begins"),
        (("--rules", "nowhere.yaml"), "nowhere.yaml"),
        (("--time-zone", "Mars/Olympus"), "Mars/Olympus"),
        (("--out", "nowhere/report.json"), "there is no folder nowhere"),
        (("--refused", "."), "is a folder"),
    ],
)
def test_a_wrong_call_exits_with_2_and_says_what_is_wrong(files, arguments, said):
    status, out, err = inspected(*arguments)
    assert (status, out) == (2, "")
    assert said in err


def test_an_unknown_column_stops_the_run_and_names_the_nearest(files):
    (files / "records.csv").write_text(HEAD.replace("outlet_tds", "outlet_tsd"))
    status, _, err = inspected()
    assert status == 2
    assert "outlet_tsd" in err
    assert "did you mean 'outlet_tds'?" in err


def test_a_rule_file_with_five_faults_gets_five_diagnostics_in_one_go(files):
    """A misspelt key, a pressure against a TDS, an unknown fact, a doubled key and an alias."""
    (files / "house.yaml").write_text(
        RULES.replace("correction:", "corection:")
        .replace("20 mg/L, basis", "20 kPa, basis")
        .replace('applies_if: sampled == "flowing"', 'applies_if: smapled == "flowing"')
        .replace("    grading: minor\n", "    grading: minor\n    grading: major\n")
        .replace("owner: standards lead", "owner: *lead")
    )
    status, out, err = inspected()
    assert (status, out) == (2, "")
    for place, help_ in [
        ("house.yaml:5:8:", "alias"),
        ("house.yaml:10:17:", "did you mean 'sampled'?"),
        ("house.yaml:11:28:", "mg/L"),
        ("house.yaml:15:5:", "grading"),
        ("house.yaml:17:5:", "did you mean 'correction'?"),
    ]:
        block = err[err.index(place) :].split("\n\n")[0]
        assert help_ in block


def test_what_ships_passes_its_own_check():
    status, out, _ = called("rules", "check")
    assert status == 0
    assert "6 rule sets" in out


def test_an_example_that_the_rule_does_not_bear_out_fails_the_check(files):
    (files / "house.yaml").write_text(RULES.replace("outlet_tds: 19.9", "outlet_tds: 21"))
    status, _, err = called("rules", "check", "house.yaml")
    assert status == 2
    assert "house.yaml:18:" in err


def test_rules_facts_and_models_are_listed():
    assert "outlet-below-stop-limit" in called("rules", "list")[1]
    status, facts, _ = called("facts", "reading")
    assert status == 0
    assert "outlet_tds" in facts
    assert "standard mixed bed" in called("models", "list")[1]


@freeze_time("2026-05-04T07:00:00Z")
def test_without_an_instant_the_clock_decides_and_later_records_are_not_used(files):
    status, out, _ = called(
        "inspect", "records.csv", "--register", "register.yaml", "--rules", "house.yaml",
        "--format", "json",
    )  # fmt: skip
    report = json.loads(out)
    assert (status, report["as_of"]) == (3, "2026-05-04T07:00:00Z")
    assert (report["records"]["accepted"], report["records"]["later"]) == (0, 1)


def test_the_demo_shows_its_fleet_and_exits_with_0(tmp_path):
    status, out, err = called("demo", tmp_path / "fleet")
    assert status == 0
    assert "(invented)" in out
    assert "Do first" in out
    assert str(tmp_path / "fleet") in err


def test_the_demo_writes_into_no_folder_that_holds_other_files(tmp_path):
    (tmp_path / "my-records.csv").write_text("mine")
    status, out, err = called("demo", tmp_path)
    assert (status, out) == (2, "")
    assert "my-records.csv" in err
    assert [path.name for path in tmp_path.iterdir()] == ["my-records.csv"]


def test_a_file_without_records_is_nothing_to_judge(files):
    (files / "records.csv").write_text(HEAD)
    status, out, _ = inspected()
    assert status == 3
    assert "Nothing was there to judge." in out


def test_a_failure_that_a_later_record_settled_fails_no_more(files):
    rows = [ROW.format("R-1", 4, 31), ROW.format("R-2", 5, 3)]
    (files / "records.csv").write_text(HEAD + "".join(rows))
    status, out, _ = inspected()
    assert status == 0
    assert "One earlier finding no longer stands" in out
    assert inspected("--from", "2026-05-04", "--to", "2026-05-04")[0] == 1


def test_every_planted_blemish_of_the_demo_is_found(tmp_path):
    from qa_engine.demo import AS_OF, PLANTED, write_demo

    fleet = write_demo(tmp_path)
    _, out, _ = called(
        "inspect", *fleet.records, "--register", fleet.register, "--as-of", AS_OF.isoformat(),
        "--format", "json",
    )  # fmt: skip
    found = {
        (f["rule"], f["outcome"], place)
        for f in json.loads(out)["findings"]
        for place in (f["van"], f["tank"], f["subject"]["id"])
    }
    for blemish in PLANTED:
        places = {place for rule, outcome, place in found if rule == blemish.rule}
        assert places, f"{blemish.name}: {blemish.rule} found nothing"


def test_the_overview_loads_nothing_heavy():
    code = (
        "import sys; from qa_engine.cli.program import program; sys.exit('polars' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
