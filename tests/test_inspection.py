"""The inspection, end to end on small fleets: what is found, on what evidence, and what is not."""

import json
import sys
from datetime import UTC, date, datetime
from importlib.metadata import EntryPoint
from types import ModuleType

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.facts import Fact, FactGroup
from qa_engine.hookspecs import hookimpl
from qa_engine.inspection import Assignment, inspect
from qa_engine.plugin_host import installed_plugins
from qa_engine.report import Report
from qa_engine.report.as_json import json_report
from qa_engine.subjects import Period

AS_OF = datetime(2026, 6, 1, 12, tzinfo=UTC)

HEAD = """
rule_set: house
title: House
edition: 2026-01
in_force: {from: 2020-01-01}
owner: standards lead
rules:
"""

STOP = """
  - rule: outlet-below-stop-limit
    title: Rinsing stops when the outlet reads high
    subject: reading
    requires: outlet_tds < stop_limit
    limits: {stop_limit: {is: 30 mg/L, basis: common practice}}
    affects: rinse
    grading: major
    says: Outlet read {outlet_tds}, limit {stop_limit}; in doubt {affected}; tank {tank}.
    correction: Stop and change the resin.
    caution: Depressurise first.
    examples:
      conforms: [{outlet_tds: 29 mg/L}]
      does_not_conform: [{outlet_tds: 30 mg/L}]
      undecided: [{}]
"""

SEAL = """
  - rule: head-seal-renewed
    title: The head seal is renewed yearly
    subject: tank
    requires: head_seal_age <= renewal
    limits: {renewal: {is: 365 d, basis: operator policy}}
    grading: minor
    says: The head seal is {head_seal_age} old.
    correction: Renew the head seal.
    examples:
      conforms: [{head_seal_age: 365 d}]
      does_not_conform: [{head_seal_age: 366 d}]
      undecided: [{}]
"""

COMPLAINT = """
  - rule: complaint-followed
    title: A complaint is followed by a reading
    subject: complaint
    requires: reading_followed
    within: 2 days
    grading: minor
    says: No reading followed the complaint.
    correction: Read the outlet.
    examples:
      conforms: [{reading_followed: yes}]
      does_not_conform: [{reading_followed: no}]
      undecided: [{}]
"""


def at(day, hour=8):
    return f"2026-05-{day:02}T{hour:02}:00"


def reading(day, outlet, record=None, tank="T-1", hour=8, **more):
    named = {"record": record} if record else {}
    return {
        "kind": "reading", "at": at(day, hour), "tank": tank, "outlet_tds": outlet, **named, **more
    }  # fmt: skip


def rinse(day, record, tank="T-1", hour=9):
    return {"kind": "rinse", "at": at(day, hour), "tank": tank, "record": record, "rinses": 1}


def change(day, record, tank="T-1"):
    done = {"change": "emptied and refilled", "grade": "standard mixed bed", "resin_volume": 14.0}
    return {"kind": "resin_change", "at": at(day, 7), "tank": tank, "record": record, **done}


def inspected(fleet, *rules, as_of=AS_OF, entries=(), head=HEAD, **more):
    """Return the inspection of a fleet by rules written in YAML."""
    frames = fleet.past.history.frames
    task = Assignment(frames, fleet.register, as_of, **more)
    text = head + "".join(rules)
    return inspect(task, entries, lambda host: [("house.yaml", text.encode())])


def found(inspection):
    """Return the findings as the JSON report has them."""
    return json.loads(json_report(Report(inspection)))["findings"]


def test_a_reading_beyond_the_limit_is_a_finding_with_its_record_as_evidence(fleet_of):
    fleet = fleet_of([reading(4, 31.0, "R-1", van="Quill")])
    (finding,) = found(inspected(fleet, STOP))
    assert finding["finding"] == "house/outlet-below-stop-limit/reading/R-1"
    assert finding["subject"] == {"kind": "reading", "id": "R-1"}
    assert (finding["van"], finding["tank"]) == ("Quill", "T-1")
    assert finding["outcome"] == "does not conform"
    assert finding["measured"] == {"outlet_tds": {"value": 31.0, "unit": "mg/L"}}
    assert finding["limits"] == {"stop_limit": {"value": 30.0, "unit": "mg/L"}}
    assert finding["evidence"] == ["R-1"]
    assert finding["message"] == (
        "Outlet read 31 mg/L, limit 30 mg/L; in doubt none on record; tank T-1."
    )
    assert (finding["correction"], finding["caution"], finding["permission"]) == (
        "Stop and change the resin.", "Depressurise first.", None,
    )  # fmt: skip
    assert finding["since"] == finding["until"] == "2026-05-04T08:00:00Z"


def test_a_missing_value_is_undecided_and_named_never_a_pass(fleet_of):
    (finding,) = found(inspected(fleet_of([reading(4, None, "R-1")]), STOP))
    assert (finding["outcome"], finding["missing"]) == ("undecided", ["outlet_tds"])
    assert finding["message"] == "Could not be decided: outlet_tds not known."
    assert finding["measured"] == {"outlet_tds": {"value": None, "unit": "mg/L"}}


def test_neighbouring_failures_are_one_finding_told_by_its_last_member(fleet_of):
    records = [reading(d, o, f"R-{d}") for d, o in [(1, 5.0), (2, 31.0), (3, 33.0), (4, 6.0)]]
    (finding,) = found(inspected(fleet_of(records), STOP))
    assert finding["subject"]["id"] == "R-2"
    assert finding["evidence"] == ["R-2", "R-3"]
    assert (finding["since"], finding["until"]) == ("2026-05-02T08:00:00Z", "2026-05-03T08:00:00Z")
    assert finding["measured"]["outlet_tds"]["value"] == 33.0
    assert finding["stands"] is False


def test_a_resin_change_ends_a_run_and_what_stood_on_the_old_resin_stands_no_more(fleet_of):
    records = [reading(1, 31.0, "R-1"), change(2, "C-1"), reading(3, 31.0, "R-3")]
    findings = found(inspected(fleet_of(records), STOP))
    assert [(f["subject"]["id"], f["stands"]) for f in findings] == [("R-1", False), ("R-3", True)]


def test_a_failure_stands_until_a_later_verdict_and_silence_gives_none(fleet_of):
    records = [reading(1, 31.0, "R-1"), reading(2, None, "R-2")]
    findings = found(inspected(fleet_of(records), STOP))
    assert [(f["outcome"], f["stands"]) for f in findings] == [
        ("does not conform", True), ("undecided", True),
    ]  # fmt: skip


PLATE = """
  - rule: pressure-within-plate
    title: Pressure within the plate
    subject: rinse
    requires: inlet_pressure <= most
    limits: {most: {is: 1000 kPa, basis: data plate}}
    grading: major
    settled_by: {kind: vessel_service, where: result == "fit" and recorded(competent_person)}
    stands_until: settling record
    says: The gauge read {inlet_pressure}.
    correction: Have the vessel examined.
    examples:
      conforms: [{inlet_pressure: 1000 kPa}]
      does_not_conform: [{inlet_pressure: 1001 kPa}]
      undecided: [{}]
"""


EXAMINED = {"result": "fit", "competent_person": "CP-1"}


@pytest.mark.parametrize(
    ("after", "stands", "closed"),
    [
        ([], True, []),
        ([("rinse", 300.0)], True, []),
        ([("resin_change", None), ("rinse", 300.0)], True, []),
        ([("vessel_service", {"result": "fit"})], True, []),
        ([("vessel_service", {"competent_person": "CP-1"})], True, []),
        ([("vessel_service", {"result": "unfit", "competent_person": "CP-1"})], True, []),
        ([("vessel_service", EXAMINED)], False, ["R-1"]),
        ([("rinse", 300.0), ("vessel_service", EXAMINED), ("rinse", 310.0)], False, ["R-2"]),
        ([("vessel_service", EXAMINED), ("rinse", 1300.0)], True, []),
        ([("vessel_service", {**EXAMINED, "tank": "T-2"})], True, []),
    ],
)
def test_what_a_later_good_value_does_not_undo_stands_until_the_work_is_logged(
    fleet_of, after, stands, closed
):
    first = {"kind": "rinse", "at": at(1), "tank": "T-1", "record": "R-0", "inlet_pressure": 1200.0}
    later = [
        {"kind": kind, "at": at(n + 2), "tank": "T-1", "record": f"R-{n + 1}",
         **(stated if isinstance(stated, dict) else {"inlet_pressure": stated} if stated else {})}
        for n, (kind, stated) in enumerate(after)
    ]  # fmt: skip
    finding, *_ = found(inspected(fleet_of([first, *later]), PLATE))
    assert (finding["stands"], finding["closed_by"]) == (stands, closed)


def test_what_could_not_be_decided_needs_no_settling_record_but_only_a_verdict(fleet_of):
    unread = {"kind": "rinse", "at": at(1), "tank": "T-1", "record": "R-0"}
    good = {"kind": "rinse", "at": at(2), "tank": "T-1", "record": "R-1", "inlet_pressure": 300.0}
    for records, stands, closed in ([[unread], True, []], [[unread, good], False, ["R-1"]]):
        (finding,) = found(inspected(fleet_of(records), PLATE))
        assert finding["outcome"] == "undecided"
        assert (finding["stands"], finding["closed_by"]) == (stands, closed)


def test_what_is_not_known_to_fail_calls_for_no_correction(fleet_of):
    fails, open_ = found(inspected(fleet_of([reading(1, 31.0), reading(2, None)]), STOP))
    assert (fails["correction"], open_["correction"]) == ("Stop and change the resin.", None)
    assert open_["caution"] == "Depressurise first."


def test_rinses_since_the_last_conforming_reading_are_in_doubt_and_named(fleet_of):
    records = [
        rinse(1, "before", hour=7), reading(1, 5.0, "R-1"), rinse(1, "a"), rinse(2, "b"),
        rinse(2, "elsewhere", tank="T-2"), reading(3, 31.0, "R-3"), rinse(4, "after"),
    ]  # fmt: skip
    (finding,) = found(inspected(fleet_of(records), STOP))
    assert finding["affected"] == ["a", "b"]
    assert "in doubt a, b;" in finding["message"]


def test_rinses_on_the_resin_before_the_change_are_not_in_doubt(fleet_of):
    records = [reading(1, 5.0), rinse(1, "old"), change(2, "C"), rinse(2, "new"), reading(3, 40.0)]
    (finding,) = found(inspected(fleet_of(records), STOP))
    assert finding["affected"] == ["new"]


def test_records_after_the_instant_are_counted_and_not_used(fleet_of):
    fleet = fleet_of([reading(1, 5.0), reading(30, 31.0)])
    inspection = inspected(fleet, STOP, as_of=datetime(2026, 5, 20, tzinfo=UTC))
    assert (inspection.used, inspection.later) == (1, 1)
    assert found(inspection) == []
    assert inspection.judged == 1


def test_what_must_follow_is_pending_until_the_time_is_up(fleet_of):
    fleet = fleet_of([{"kind": "complaint", "at": at(4), "van": "Quill", "record": "K-1"}])
    waiting = inspected(fleet, COMPLAINT, as_of=datetime(2026, 5, 5, tzinfo=UTC))
    assert waiting.coverage["pending"].to_list() == [1]
    assert found(waiting) == []
    assert waiting.due["falls_due"].to_list() == [date(2026, 5, 6)]
    late = inspected(fleet, COMPLAINT, as_of=datetime(2026, 5, 6, 8, tzinfo=UTC))
    assert [f["outcome"] for f in found(late)] == ["does not conform"]
    assert late.due.is_empty()


def test_what_followed_in_time_conforms_and_what_followed_late_does_not(fleet_of):
    complaint = {"kind": "complaint", "at": at(4), "van": "Quill", "record": "K-1"}
    for day, conforms in [(5, 1), (7, 0)]:
        fleet = fleet_of([complaint, reading(day, 5.0, van="Quill")])
        assert inspected(fleet, COMPLAINT).coverage["conforms"].to_list() == [conforms]


def test_a_limit_that_time_alone_will_reach_is_foretold_to_the_day(fleet_of):
    """Renewed on 2025-07-01; on 2026-07-01 it is 365 days old, on 2026-07-02 older than that."""
    seal = {"kind": "seal_service", "at": "2025-07-01T12:00", "tank": "T-1", "seal": "head",
            "replaced": True}  # fmt: skip
    inspection = inspected(fleet_of([seal]), SEAL)
    assert inspection.coverage["conforms"].to_list() == [1]
    assert inspection.due.select("rule", "tank", "falls_due").rows() == [
        ("head-seal-renewed", "T-1", date(2026, 7, 2))
    ]


def test_a_thing_without_evidence_is_undecided_once_per_thing(fleet_of):
    fleet = fleet_of([reading(1, 5.0)], tanks=[{"tank": "T-1"}, {"tank": "T-9"}])
    findings = found(inspected(fleet, SEAL))
    assert [(f["tank"], f["outcome"], f["evidence"]) for f in findings] == [
        ("T-1", "undecided", []), ("T-9", "undecided", []),
    ]  # fmt: skip


def test_a_period_judges_things_at_the_end_of_each_of_its_days(fleet_of):
    """Renewed on 2025-05-11 at 12:00: at the end of 2026-05-10 the seal is 364.5 days old."""
    seal = {"kind": "seal_service", "at": "2025-05-11T12:00", "tank": "T-1", "seal": "head",
            "replaced": True}  # fmt: skip
    period = Period(date(2026, 5, 10), date(2026, 5, 12))
    inspection = inspected(fleet_of([seal]), SEAL, period=period)
    row = inspection.coverage.row(0, named=True)
    assert (row["conforms"], row["does_not_conform"]) == (1, 2)
    (finding,) = found(inspection)
    assert finding["since"].startswith("2026-05-11T23:59:59")
    assert finding["until"] == "2026-06-01T12:00:00Z"


def test_each_event_is_judged_by_the_edition_then_in_force(fleet_of):
    fleet = fleet_of([reading(d, 25.0, f"R-{d}") for d in (1, 2, 3)])
    later = (HEAD + STOP).replace("2026-01", "2026-05").replace("2020-01-01", "2026-05-02")
    stricter = later.replace("30 mg/L", "20 mg/L").replace("29 mg/L", "19 mg/L")
    task = Assignment(fleet.past.history.frames, fleet.register, AS_OF)
    sources = [("a.yaml", (HEAD + STOP).encode()), ("b.yaml", stricter.encode())]
    inspection = inspect(task, (), lambda host: sources)
    assert [(f["edition"], f["evidence"]) for f in found(inspection)] == [
        ("2026-05", ["R-2", "R-3"])
    ]
    assert inspection.coverage.select("edition", "conforms", "does_not_conform").rows() == [
        ("2026-01", 1, 0), ("2026-05", 0, 2),
    ]  # fmt: skip


def broken(monkeypatch, find):
    """Install a plugin with a fact 'shade' of readings; return its entry point."""
    module = ModuleType("plugin_shade")

    def qa_facts():
        return [FactGroup(("reading",), (Fact("shade", "number", "shade", "1"),), find)]

    module.qa_facts = hookimpl(qa_facts)
    monkeypatch.setitem(sys.modules, module.__name__, module)
    return EntryPoint("shade", module.__name__, "qa_engine")


SHADE = """
  - rule: resin-is-pale
    title: The resin is pale
    subject: reading
    requires: shade < 0.5
    grading: minor
    says: The resin is dark ({shade}).
    correction: Look at it.
    examples:
      conforms: [{shade: 0.4}]
      does_not_conform: [{shade: 0.5}]
      undecided: [{}]
"""


def test_a_plugin_that_raises_leaves_its_rules_undecided_and_all_others_judged(
    fleet_of, monkeypatch
):
    entry = broken(monkeypatch, lambda subjects, past: 1 / 0)
    inspection = inspected(fleet_of([reading(4, 31.0)]), STOP, SHADE, entries=[entry])
    stop, shade = sorted(found(inspection), key=lambda f: f["rule"])
    assert stop["outcome"] == "does not conform"
    assert shade["outcome"] == "undecided"
    assert "Plugin 'shade' failed" in shade["message"]
    assert "ZeroDivisionError" in shade["message"]
    assert Report(inspection).exit_status == 3


SPENT = """
  - rule: charge-not-spent
    title: The charge is not spent
    subject: tank
    requires: used_fraction < 1
    grading: advice
    says: Spent.
    correction: Change the resin.
    examples:
      undecided: [{}]
"""


@pytest.mark.parametrize(
    ("grade", "blamed"),
    [("standard mixed bed", False), ("a grade of its own", True), (None, False)],
)
def test_a_failed_plugin_is_blamed_only_where_it_may_have_told_what_is_missing(
    fleet_of, monkeypatch, grade, blamed
):
    """Nobody logged the volume; of a grade without a model the failed plugin may have had one."""
    lost = broken(monkeypatch, lambda subjects, past: 1 / 0)
    kept = EntryPoint("mixed", "qa_engine.plugins.mixed_bed", "qa_engine")
    fleet = fleet_of([{**change(1, "C-1"), "grade": grade, "resin_volume": None}])
    findings = found(inspected(fleet, SHADE, SPENT, entries=[lost, kept]))
    (finding,) = [one for one in findings if one["rule"] == "charge-not-spent"]
    assert finding["missing"] == ["used_fraction"]
    assert ("Plugin 'shade' failed" in finding["message"]) is blamed


def test_a_plugin_that_fails_in_one_block_only_is_left_out_of_all(fleet_of, monkeypatch):
    def find(subjects, past):
        if "T-2" in subjects["tank"]:
            raise RuntimeError("not this one")
        return pl.DataFrame({"shade": [0.9] * subjects.height})

    entry = broken(monkeypatch, find)
    fleet = fleet_of([reading(4, 1.0, tank="T-1"), reading(4, 1.0, tank="T-2")])
    one, two = (inspected(fleet, SHADE, entries=[entry], blocks=n) for n in (1, 2))
    assert json_report(Report(one)) == json_report(Report(two))
    assert {f["outcome"] for f in found(two)} == {"undecided"}


def test_a_plugin_that_works_is_asked(fleet_of, monkeypatch):
    entry = broken(monkeypatch, lambda s, past: pl.DataFrame({"shade": [0.9] * s.height}))
    (finding,) = found(inspected(fleet_of([reading(4, 1.0)]), SHADE, entries=[entry]))
    assert finding["message"] == "The resin is dark (0.9)."


def test_nothing_to_judge_is_not_a_success(fleet_of):
    inspection = inspected(fleet_of([]), STOP)
    assert inspection.judged == 0
    assert Report(inspection).exit_status == 3


RECORDS = st.lists(
    st.one_of(
        st.builds(
            reading,
            st.integers(1, 28),
            st.sampled_from([None, 1.0, 19.0, 31.0]),
            tank=st.sampled_from(["T-1", "T-2", "T-3"]),
            hour=st.integers(0, 3),
            van=st.sampled_from([None, "Quill"]),
        ),
        st.builds(rinse, st.integers(1, 28), st.none(), tank=st.sampled_from(["T-1", "T-2"])),
        st.builds(change, st.integers(1, 28), st.none(), tank=st.sampled_from(["T-1", "T-2"])),
        st.builds(lambda d: {"kind": "complaint", "at": at(d), "van": "Quill"}, st.integers(1, 28)),
    ),
    max_size=25,
).map(lambda rows: [{**row, "record": f"R-{n:02}"} for n, row in enumerate(rows)])


def shipped(fleet, as_of=AS_OF, blocks=None, frames=None):
    """Return the report of an inspection by the rules that ship."""
    from qa_engine.cli.rule_files import offered

    task = Assignment(frames or fleet.past.history.frames, fleet.register, as_of, blocks=blocks)
    return inspect(task, installed_plugins(), offered)


@settings(deadline=None, max_examples=12)
@given(RECORDS, st.randoms(use_true_random=False))
def test_order_of_rows_and_number_of_blocks_change_no_byte_of_the_report(fleet_of, rows, random):
    fleet = fleet_of(rows)
    report = json_report(Report(shipped(fleet)))
    shuffled = {k: f.sample(fraction=1, shuffle=True, seed=random.randint(0, 99))
                for k, f in fleet.past.history.frames.items()}  # fmt: skip
    assert json_report(Report(shipped(fleet, frames=shuffled))) == report
    assert json_report(Report(shipped(fleet, blocks=16))) == report


@settings(deadline=None, max_examples=12)
@given(RECORDS, st.integers(1, 28))
def test_records_after_an_instant_change_nothing_that_was_said_about_it(fleet_of, rows, day):
    """What the report as of then says must not hang on whether later records exist at all."""
    as_of = datetime(2026, 5, day, 12, tzinfo=UTC)
    before = [row for row in rows if datetime.fromisoformat(row["at"] + "+00:00") <= as_of]
    known = shipped(fleet_of(before), as_of)
    hindsight = shipped(fleet_of(rows), as_of)
    assert hindsight.findings.equals(known.findings)
    assert hindsight.coverage.equals(known.coverage)
    assert hindsight.due.equals(known.due)


@settings(deadline=None, max_examples=12)
@given(RECORDS, st.integers(1, 28))
def test_events_are_judged_alike_then_and_later(fleet_of, rows, day):
    """Verdicts on readings up to an instant are the same whenever the inspection is made."""
    as_of = datetime(2026, 5, day, 12, tzinfo=UTC)
    fleet = fleet_of(rows)
    then, now = (inspected(fleet, STOP, as_of=t).findings for t in (as_of, AS_OF))
    judged, later = (one.select("outcome", "evidence").explode("evidence") for one in (then, now))
    assert judged.join(later, on=["outcome", "evidence"], how="anti").is_empty()
