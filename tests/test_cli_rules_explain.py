"""``rules explain``, as the people who ask it read it."""

import json
import re
import sys
from importlib.metadata import EntryPoint
from types import ModuleType

import pytest
from click.testing import CliRunner

from qa_engine.cli import inspect, rules_explain
from qa_engine.cli.program import program
from qa_engine.depletion import Capacity, Grade
from qa_engine.errors import QAEngineError
from qa_engine.hookspecs import hookimpl
from qa_engine.plugin_host import installed_plugins

REGISTER = """\
operator: {name: Quillmere Coach Rinse (invented), time_zone: Europe/London}
vans:
  - {van: Quill, base: North Yard}
tanks:
  - {tank: T-1, van: Quill, vessel_volume: 28 L, bore: 200 mm}
  - {tank: T-2, van: Quill}
meters:
  - {meter: M-1, factor: 0.5, compensation: yes}
vehicle_classes:
  - {vehicle_class: coach, water_per_rinse: 190 L}
"""

HEAD = (
    "record,kind,at,van,tank,meter,sampled,inlet_tds,outlet_tds,"
    "change,grade,resin_volume,rinses,water_used\n"
)
RECORDS = (
    HEAD
    + """\
RC-1,resin_change,2026-05-01T08:00:00+01:00,Quill,T-1,,,,,tank exchanged,standard mixed bed,20,,
RD-1,reading,2026-05-02T08:10:00+01:00,Quill,T-1,M-1,flowing,180,4,,,,,
RN-1,rinse,2026-05-02T09:00:00+01:00,Quill,T-1,,,,,,,,2,380
RD-2,reading,2026-05-04T08:10:00+01:00,Quill,T-1,M-1,flowing,180,31,,,,,
RD-3,reading,2026-05-05T08:10:00+01:00,Quill,T-1,M-1,flowing,180,36,,,,,
RD-4,reading,2026-05-06T08:10:00+01:00,Quill,T-1,M-1,flowing,180,,,,,,
RC-2,resin_change,2026-05-03T08:00:00+01:00,Quill,T-2,,,,,emptied and refilled,tidal grey,20,,
"""
)

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
    applies_if: sampled == "flowing" and not softening_bed
    requires: outlet_tds < house_limit
    limits:
      house_limit: {is: 20 mg/L, basis: common practice, review_by: 2027-04-01}
    grading: minor
    says: Outlet water read {outlet_tds}; the limit is {house_limit}.
    correction: Finish this vehicle, then change the resin.
    caution: Isolate the tank and see zero on a gauge before opening it.
    examples:
      conforms: [{outlet_tds: 19.9 mg/L, sampled: flowing}]
      does_not_conform: [{outlet_tds: 20 mg/L, sampled: flowing, softening_bed: no}]
      undecided: [{sampled: flowing}]
      not_applicable: [{outlet_tds: 35 mg/L, sampled: first flush}]
  - rule: capacity-not-used-up
    title: Capacity not used up
    subject: charge
    requires: used_fraction < whole
    limits:
      whole: {is: 1, basis: "definition"}
    grading: minor
    says: Used {used_fraction}.
    correction: Change the resin.
    examples:
      conforms: [{used_fraction: 0.9}]
      does_not_conform: [{used_fraction: 1}]
      undecided: [{}]
"""

FAILING = """\
house/outlet-below-house-limit/reading/RD-2: does not conform (minor)
Outlet water below the house limit
Outlet water read 36 mg/L; the limit is 20 mg/L.

Reading RD-3 (tank T-1, meter M-1, van Quill), 5 May 2026, 08:10 (Europe/London)
Rule set house, edition 2026-01, in force from 2020-01-01
Written at house.yaml:7:5, sha256 {digest}...
The finding runs from 4 May 2026, 08:10 to 5 May 2026, 08:10; its last member is explained here.

Does the rule apply? Yes
  > yes  sampled == "flowing"      sampled is flowing
  > yes  not softening_bed         softening_bed is no
Is it met? No
  > no   outlet_tds < house_limit  36 mg/L is not below 20 mg/L
  (> marks what the outcome rests on)

On these facts
  sampled        flowing (as logged), record RD-3
  softening_bed  no (the model of this grade says that the bed only softens the water), record RC-1
                 of 1 May 2026, 08:00, 4.01 days before
  outlet_tds     36 mg/L (as logged), record RD-3

Against these limits
  house_limit  20 mg/L, common practice; to be reviewed by 2027-04-01

It would conform with outlet_tds below 20 mg/L.

What to do: Finish this vehicle, then change the resin.
Caution: Isolate the tank and see zero on a gauge before opening it.
"""

NOT_STATED = """\
What is missing
  - outlet_tds, the outlet reading as TDS, as logged: not known; it is made of
    - outlet tds in the reading RD-4 itself: it states none; the last reading of tank T-1 that does
      is RD-3 of 5 May 2026, 08:10, 1 day before: 36 mg/L
  (- is lacking, + is there)

What would settle it
  - a correction of RD-4 that states outlet tds, by somebody who knows it; a later reading is judged
    by itself
  - outlet_tds, once known; below 20 mg/L: conforms; from 20 mg/L on: does not conform
"""

NO_MODEL = """\
What is missing
  - used_fraction, equivalents spent over the capacity of the charge: not known; it is made of
    - charge_capacity, what the charge can take up: not known; it is made of
      - a resin model for the grade 'tidal grey': the loaded models speak for ...
      + charge_resin_volume, resin in the charge, what was topped up in it: 20 L
    + charge_equivalents, equivalents that the water so far spent by the model of the grade: 0 eq
  (- is lacking, + is there)

What would settle it
  - a plugin with a model for 'tidal grey', or the grade written as in the list of models
  - used_fraction, once known; below 1: conforms; from 1 on: does not conform
"""


@pytest.fixture
def files(tmp_path, monkeypatch):
    """A folder with a register, rules and records; the current folder."""
    (tmp_path / "register.yaml").write_text(REGISTER)
    (tmp_path / "house.yaml").write_text(RULES)
    (tmp_path / "records.csv").write_text(RECORDS)
    monkeypatch.chdir(tmp_path)
    return tmp_path


FIXED = ("records.csv", "--register", "register.yaml", "--rules", "house.yaml")
AS_OF = ("--as-of", "2026-06-01T12:00:00Z")


def explained(finding, *more):
    """Return exit status and what is printed."""
    arguments = [finding, *FIXED, *(more or AS_OF)]
    result = CliRunner().invoke(rules_explain.explain, arguments, catch_exceptions=False)
    return result.exit_code, result.stdout


def refused(finding, *more):
    """Return why something cannot be explained."""
    with pytest.raises(QAEngineError) as raised:
        explained(finding, *more)
    return str(raised.value)


def section(text, begins, ends=None):
    found = text[text.index(begins) :]
    return found[: found.index(ends)] if ends else found


def test_a_failing_reading_is_explained_by_value_limit_and_records(files):
    from hashlib import sha256

    status, out = explained("house/outlet-below-house-limit/reading/RD-2")
    digest = sha256((files / "house.yaml").read_bytes()).hexdigest()[:16]
    assert (status, out) == (0, FAILING.replace("{digest}", digest))


def test_an_undecided_reading_says_what_was_looked_for_and_what_would_settle_it(files):
    status, out = explained("house/outlet-below-house-limit/reading/RD-4")
    assert status == 0
    assert out.startswith("house/outlet-below-house-limit/reading/RD-4: undecided (minor)")
    assert "> open outlet_tds < house_limit  not recorded, to be below 20 mg/L" in out
    assert section(out, "What is missing") == NOT_STATED


def test_an_undecided_charge_is_followed_down_to_the_model_that_is_lacking(files):
    status, out = explained("house/capacity-not-used-up/charge/T-2@RC-2")
    assert status == 0
    grades = re.compile(r"(the loaded models speak for) '[^:+]*'\n")
    assert grades.sub(r"\1 ...\n", section(out, "What is missing")) == NO_MODEL


def test_a_charge_that_nobody_saw_begin_lacks_its_resin_change(files):
    (files / "records.csv").write_text(RECORDS.replace("RC-1,", "RC-1,", 1).replace(
        "RC-1,resin_change,2026-05-01", "RC-1,resin_change,2026-05-09"))  # fmt: skip
    _, out = explained("house/capacity-not-used-up/charge/T-1@start")
    assert (
        "resin changes of tank T-1 that state change, up to 9 May 2026, 07:59: there is none" in out
    )
    assert "a resin change of tank T-1 that states change" in section(out, "What would settle it")


def test_a_rinse_without_a_count_is_named_where_it_spoils_a_sum(files):
    rules = RULES.replace("used_fraction", "charge_rinses").replace("is: 1,", "is: 100,")
    (files / "house.yaml").write_text(rules)
    (files / "records.csv").write_text(RECORDS.replace(",2,380", ",,380"))
    _, out = explained("house/capacity-not-used-up/charge/T-1@RC-1")
    assert "1 of 1 leave it open, the first is RN-1" in " ".join(out.split())
    assert "for RN-1" in section(out, "What would settle it")


def test_what_the_register_lacks_is_named_with_its_table_and_row(files):
    rules = RULES.replace("requires: used_fraction < whole", "requires: bore > whole")
    rules = rules.replace("{is: 1,", "{is: 1 mm,").replace("Used {used_fraction}.", "Bore {bore}.")
    for old in ("used_fraction: 0.9", "used_fraction: 1"):
        rules = rules.replace(old, "bore: 5 mm")
    (files / "house.yaml").write_text(rules)
    _, out = explained("house/capacity-not-used-up/charge/T-2@RC-2")
    assert "bore in the register, table tanks, the row of T-2 that held then: it is empty" in out
    assert "bore for T-2 in the register, if it held then" in section(out, "What would settle it")


class TidalGrey:
    """A model that breaks as soon as it is asked."""

    grade = Grade(
        name="tidal grey",
        bed="mixed bed",
        capacity=Capacity(0.5, 0.1, "invented"),
        lowers_tds=True,
        outlet_after_change_mg_l=1.0,
        least_flow_bv_h=8.0,
        greatest_flow_bv_h=40.0,
        flow_source="invented",
    )

    def load_eq_l(self, water):
        raise ZeroDivisionError("no\x1b[31m beads")

    def outlet_mg_l(self, used_fraction, water, flow_bv_h):
        return used_fraction


@pytest.fixture
def broken(files, monkeypatch):
    """The plugins that ship, and one that fails at the first rinse of its grade."""
    module = ModuleType("plugin_tidal_grey")
    module.qa_resin_models = hookimpl(_offer)
    monkeypatch.setitem(sys.modules, module.__name__, module)
    entries = (*installed_plugins(), EntryPoint("tidal_grey", module.__name__, "qa_engine"))
    monkeypatch.setattr(rules_explain, "installed_plugins", lambda: entries)
    rinse = "RN-2,rinse,2026-05-04T09:00:00+01:00,Quill,T-2,,,,,,,,2,380\n"
    reading = "RD-9,reading,2026-05-03T09:10:00+01:00,Quill,T-2,M-1,flowing,180,30,,,,,\n"
    (files / "records.csv").write_text(RECORDS + rinse + reading)


def _offer():
    return [TidalGrey()]


_offer.__name__ = "qa_resin_models"


def test_a_plugin_failure_names_plugin_error_and_place_and_how_many_rules_it_touches(broken):
    status, out = explained("house/capacity-not-used-up/charge/T-2@RC-2")
    told = section(out, "Plugin 'tidal_grey'")
    assert status == 3
    assert "undecided" in out.splitlines()[0]
    assert "load_eq_l of grade 'tidal grey': ZeroDivisionError: no [31m beads" in told
    assert "test_cli_rules_explain.py" in told
    assert "in load_eq_l" in told
    assert 'raise ZeroDivisionError("no' in told
    assert "\x1b" not in out
    assert "2 rules in all need what failed plugins would have told" in told
    assert "'qa-engine models list' loads the plugins and nothing else." in told
    assert "the repair of the plugin 'tidal_grey'" in section(out, "What would settle it")


def test_a_plugin_that_another_rule_makes_fail_is_not_there_for_this_one_either(broken):
    """The model says that its bed lowers TDS; once it has failed, nobody knows of that grade."""
    status, out = explained("house/outlet-below-house-limit/reading/RD-9")
    assert status == 3
    assert out.startswith("house/outlet-below-house-limit/reading/RD-9: undecided (minor)")
    assert "> open not softening_bed         softening_bed is not recorded" in out
    assert "the repair of the plugin 'tidal_grey'" in section(out, "What would settle it")


def test_with_all_findings_explained_the_repair_of_a_failed_plugin_is_what_would_settle_them(
    broken, monkeypatch
):
    monkeypatch.setattr(inspect, "installed_plugins", rules_explain.installed_plugins)
    asked = ["inspect", *FIXED, *AS_OF, "--explain", "--format", "json"]
    result = CliRunner().invoke(program, asked)
    findings = {one["subject"]["id"]: one for one in json.loads(result.stdout)["findings"]}
    assert result.exit_code == 3
    told = json.dumps(findings["T-2@RC-2"]["explanation"]["missing"])
    assert "the repair of the plugin 'tidal_grey'" in told
    assert findings["RD-9"]["explanation"]["outcome"] == "undecided"


def test_what_a_failed_plugin_does_not_touch_is_explained_as_ever(broken):
    status, out = explained("house/outlet-below-house-limit/reading/RD-2")
    assert status == 3
    assert "36 mg/L is not below 20 mg/L" in out


def test_a_verdict_that_is_no_finding_can_be_explained_too(files):
    status, out = explained("house/outlet-below-house-limit/reading/RD-1")
    assert status == 0
    assert out.startswith("house/outlet-below-house-limit/reading/RD-1: conforms (minor)")
    assert "4 mg/L is below 20 mg/L" in out
    assert "What to do" not in out


def test_json_holds_the_same_as_data_with_the_place_of_every_comparison(files):
    status, out = explained(
        "house/outlet-below-house-limit/reading/RD-4", *AS_OF, "--format", "json"
    )
    told = json.loads(out)
    assert status == 0
    assert (told["outcome"], told["at"]) == ("undecided", "2026-05-06T07:10:00Z")
    assert told["applies"]["joined"] == "and"
    assert told["requires"] == {
        "condition": "outlet_tds < house_limit",
        "line": 11,
        "column": 15,
        "holds": None,
        "decisive": True,
        "names": ["outlet_tds", "house_limit"],
        "says": "not recorded, to be below 20 mg/L",
        "sign": "<",
        "left": {"value": None, "unit": "mg/L"},
        "right": {"value": 20.0, "unit": "mg/L"},
    }
    last = told["missing"]["outlet_tds"]["made_of"][0]
    assert (last["record"], last["at"]) == ("RD-3", "2026-05-05T07:10:00Z")
    assert told["cases"]["outlet_tds"] == [
        {"values": "below 20 mg/L", "outcome": "conforms"},
        {"values": "from 20 mg/L on", "outcome": "does_not_conform"},
    ]
    assert out == explained(told["finding"], *AS_OF, "--format", "json")[1]


@pytest.mark.parametrize(
    ("finding", "said"),
    [
        ("RD-2", "'RD-2' is not the name of a finding"),
        ("house/outlet-below-house-limit/raeding/RD-2", "did you mean 'reading'?"),
        ("hose/outlet-below-house-limit/reading/RD-2", "did you mean 'house'?"),
        ("house/outlet-below-house-limt/reading/RD-2", "mean 'outlet-below-house-limit'?"),
        ("house/outlet-below-house-limit/tank/T-1", "judges a reading, not a tank"),
        ("house/outlet-below-house-limit/reading/RD-77", "there is no reading 'RD-77' among"),
    ],
)
def test_what_is_not_there_cannot_be_explained_and_that_is_said(files, finding, said):
    assert said in refused(finding)


def test_a_record_after_the_instant_is_not_there_yet(files):
    finding = "house/outlet-below-house-limit/reading/RD-2"
    said = refused(finding, "--as-of", "2026-05-03T00:00:00Z")
    assert "among the records up to 3 May 2026, 01:00; see --as-of" in said


def test_no_edition_in_force_is_said(files):
    (files / "house.yaml").write_text(RULES.replace("2020-01-01", "2026-05-30"))
    assert "was in force at that time" in refused("house/outlet-below-house-limit/reading/RD-2")


def test_findings_of_the_demo_are_explained_as_they_were_judged(tmp_path):
    """One of each kind of subject and outcome; what is missing is what the report says is so."""
    from qa_engine.demo import AS_OF as DEMO_AS_OF
    from qa_engine.demo import write_demo

    fleet = write_demo(tmp_path)
    fixed = (*map(str, fleet.records), "--register", str(fleet.register))
    fixed += ("--as-of", DEMO_AS_OF.isoformat(), "--format", "json")
    report = json.loads(CliRunner().invoke(program, ["inspect", *fixed]).stdout)
    found = {(f["subject"]["kind"], f["outcome"]): f for f in report["findings"]}
    assert len(found) > 8
    for finding in found.values():
        result = CliRunner().invoke(rules_explain.explain, [finding["finding"], *fixed])
        told = json.loads(result.stdout)
        assert told["outcome"] == finding["outcome"].replace(" ", "_")
        assert sorted(told["missing"]) == sorted(finding["missing"])
        assert told["message"] == finding["message"]
