"""The preview: what new editions would have changed, against sums done by hand and by laws."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.inspection import Assignment, inspect
from qa_engine.permissions import CONCESSION, Permission
from qa_engine.preview import compare
from qa_engine.report.comparison import Comparison
from qa_engine.report.comparison_as_json import comparison_json
from qa_engine.subjects import Period

AS_OF = datetime(2026, 6, 1, 12, tzinfo=UTC)

HEAD = """
rule_set: {rule_set}
title: House
edition: {edition}
in_force: {{from: {begins}}}
owner: standards lead
rules:
"""

OUTLET = """
  - rule: {name}
    title: The outlet stays below a limit
    subject: reading
    requires: outlet_tds < house_limit
    limits: {{house_limit: {{is: {limit} mg/L, basis: common practice}}}}
    grading: {grading}
    settled_by: resin_change
    says: Outlet read {{outlet_tds}}.
    correction: Change the resin.{more}
    examples:
      conforms: [{{outlet_tds: 0 mg/L}}]
      does_not_conform: [{{outlet_tds: {limit} mg/L}}]
      undecided: [{{}}]
"""

SEAL = """
  - rule: head-seal-renewed
    title: The head seal is renewed in time
    subject: tank
    requires: head_seal_age <= renewal
    limits: {{renewal: {{is: {days} d, basis: operator policy}}}}
    grading: minor
    settled_by: seal_service
    says: The head seal is {{head_seal_age}} old.
    correction: Renew the head seal.
    examples:
      conforms: [{{head_seal_age: {days} d}}]
      does_not_conform: [{{head_seal_age: 9999 d}}]
      undecided: [{{}}]
"""

CHECK = """
  - rule: meter-checked
    title: Readings are taken with a meter checked of late
    subject: reading
    requires: meter_check_age <= interval
    limits: {{interval: {{is: {days} d, basis: operator policy}}}}
    grading: minor
    settled_by: meter_check
    says: The meter was checked {{meter_check_age}} ago.
    correction: Check the meter.
    examples:
      conforms: [{{meter_check_age: {days} d}}]
      does_not_conform: [{{meter_check_age: 9999 d}}]
      undecided: [{{}}]
"""

COMPLAINT = """
  - rule: complaint-followed
    title: A complaint is followed by a reading
    subject: complaint
    requires: reading_followed
    within: {days} days
    grading: minor
    says: No reading followed.
    correction: Read the outlet.
    examples:
      conforms: [{{reading_followed: yes}}]
      does_not_conform: [{{reading_followed: no}}]
      undecided: [{{}}]
"""


def outlet(limit, name="outlet-below-house-limit", grading="minor", more=""):
    return OUTLET.format(limit=limit, name=name, grading=grading, more=more)


def edition(name, *rules, begins="2026-01-01", rule_set="house"):
    """Return an edition as a named file."""
    head = HEAD.format(rule_set=rule_set, edition=name, begins=begins)
    return f"{rule_set}-{name}.yaml", (head + "".join(rules)).encode()


def as_sources(rules, name):
    """Return rule files: as given, or rules that make an edition of their own."""
    files = [rules] if isinstance(rules, str | tuple) else rules
    return [edition(name, one) if isinstance(one, str) else one for one in files]


def compared(fleet, old, new, as_of=AS_OF, **more):
    """Return the preview of one side against another: texts of rules, files, or lists of files."""
    task = Assignment(fleet.past.history.frames, fleet.register, as_of, **more)
    old, new = as_sources(old, "1"), as_sources(new, "2")
    return compare(task, (), lambda host: old, lambda host: new)


def reading(at, value, record, tank="T-1", **more):
    at = at if "T" in at else f"{at}T08:00"
    named = {"record": record, "outlet_tds": value, **more}
    return {"kind": "reading", "at": at, "tank": tank, "van": "Quill", **named}


def resin_change(at, record, tank="T-1"):
    done = {"change": "emptied and refilled", "grade": "invented", "resin_volume": 14.0}
    return {"kind": "resin_change", "at": f"{at}T07:00", "tank": tank, "record": record, **done}


def seal_service(at, record, tank="T-1"):
    done = {"seal": "head", "replaced": True}
    return {"kind": "seal_service", "at": f"{at}T08:00", "tank": tank, "record": record, **done}


def meter_check(at, record):
    return {"kind": "meter_check", "at": f"{at}T06:00", "meter": "M-1", "record": record}


def changed(preview):
    """Return each changed subject with what its outcome was and becomes."""
    return preview.changes.select("subject", "was", "becomes").rows()


def work(preview):
    """Return the jobs in all, by kind of record and what became of them."""
    rows = preview.work_by_place.group_by("settled_by", "what").agg(pl.col("in_all").sum())
    return {(kind, what): number for kind, what, number in rows.rows()}


def test_two_editions_a_month_apart_judge_by_date_and_the_preview_lists_what_lies_between(fleet_of):
    """Limits 20 and 15: 14.9 meets both, 15 and 19.9 only the old one, 20 neither."""
    values = {"R-1": 14.9, "R-2": 15.0, "R-3": 19.9, "R-4": 20.0}
    records = [
        reading(f"{month}T{hour:02}:00", value, f"{record}/{month[5:7]}")
        for month in ("2026-04-20", "2026-05-20")
        for hour, (record, value) in enumerate(values.items(), start=8)
    ]
    fleet = fleet_of(records)
    old = edition("2026-04", outlet(20), begins="2026-04-01")
    new = edition("2026-05", outlet(15), begins="2026-05-01")
    task = Assignment(fleet.past.history.frames, fleet.register, AS_OF)
    found = inspect(task, (), lambda host: [old, new]).findings
    assert found.select("edition", "evidence").rows() == [
        ("2026-04", ["R-4/04"]),
        ("2026-05", ["R-2/05", "R-3/05", "R-4/05"]),
    ]
    preview = compared(fleet, old, new)
    assert changed(preview) == [
        (record, "conforms", "does not conform")
        for record in ("R-2/04", "R-3/04", "R-2/05", "R-3/05")
    ]
    assert preview.changes["change"].unique().to_list() == ["newly fails"]
    first = preview.changes.row(0, named=True)
    assert first["measured"] == '{"outlet_tds":{"value":15.0,"unit":"mg/L"}}'
    assert first["old_limits"] == '{"house_limit":{"value":20.0,"unit":"mg/L"}}'
    assert first["new_limits"] == '{"house_limit":{"value":15.0,"unit":"mg/L"}}'


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.one_of(st.none(), st.integers(0, 40)), min_size=1, max_size=12),
    st.integers(1, 40),
    st.integers(1, 40),
)
def test_exactly_the_readings_from_the_lower_limit_up_to_the_higher_one_change(
    fleet_of, values, old, new
):
    records = [reading(f"2026-05-{n:02}", v, f"R-{n:02}") for n, v in enumerate(values, 1)]
    preview = compared(fleet_of(records), outlet(old), outlet(new))
    low, high = sorted((old, new))
    expected = [f"R-{n:02}" for n, v in enumerate(values, 1) if v is not None and low <= v < high]
    assert preview.changes["subject"].to_list() == expected
    assert set(preview.changes["change"]) <= {"newly fails" if new < old else "newly passes"}


def test_the_other_way_round_is_the_mirror_image(fleet_of):
    values = (10.0, 16.0, 25.0)
    fleet = fleet_of([reading(f"2026-05-{n:02}", v, f"R-{v}") for n, v in enumerate(values, 1)])
    there, back = compared(fleet, outlet(20), outlet(15)), compared(fleet, outlet(15), outlet(20))
    assert changed(there) == [(s, becomes, was) for s, was, becomes in changed(back)]
    assert there.changes["change"].to_list() == ["newly fails"]
    assert back.changes["change"].to_list() == ["newly passes"]
    assert work(there)["resin_change", "sooner"] == work(back)["resin_change", "later"] == 1


def test_an_edition_compared_with_itself_changes_nothing(fleet_of):
    fleet = fleet_of([reading("2026-05-01", 25.0, "R-1"), reading("2026-05-02", None, "R-2")])
    same = edition("1", outlet(20), SEAL.format(days=365))
    preview = compared(fleet, same, same)
    assert preview.changes.is_empty()
    assert {pair.standing for pair in preview.adoption.pairs} == {"unchanged"}
    assert set(preview.work_by_place["what"]) == {"old", "new"}


def test_counts_reach_back_90_days_and_a_year_in_days_of_the_operator(fleet_of):
    """As of 1 June 2026: the 90 days begin on 4 March (28 + 30 + 31 + 1), the year on 2 June 2025.

    In New York 4 March begins at 05:00 UTC and 2 June at 04:00 UTC.
    """
    moments = {
        "2025-06-02T03:59": (1, 0, 0),
        "2025-06-02T04:00": (1, 1, 0),
        "2026-03-04T04:59": (1, 1, 0),
        "2026-03-04T05:00": (1, 1, 1),
        "2026-06-01T12:00": (1, 1, 1),
        "2026-06-01T12:01": (0, 0, 0),
    }
    records = [reading(at, 17.0, f"R-{n}") for n, at in enumerate(moments)]
    preview = compared(fleet_of(records, zone="America/New_York"), outlet(20), outlet(15))
    expected = tuple(map(sum, zip(*moments.values(), strict=True)))
    (row,) = preview.changes_by_place.rows(named=True)
    assert (row["in_all"], row["last_year"], row["last_90_days"]) == expected == (5, 4, 2)
    assert (row["van"], row["tank"], row["change"]) == ("Quill", "T-1", "newly fails")
    assert preview.later == 1


def test_things_are_judged_at_the_end_of_each_day_and_counted_by_days(fleet_of):
    """Renewed on 1 May at 08:00: 11.67 d old at the end of 12 May, 21.67 d at that of 22 May.

    The 10 days from 12 to 21 May change, and one job is called for 10 days sooner.
    """
    fleet = fleet_of([seal_service("2026-05-01", "S-1")])
    preview = compared(fleet, SEAL.format(days=21), SEAL.format(days=11))
    days = preview.changes["at"].dt.date().cast(pl.String).to_list()
    assert days == [f"2026-05-{day}" for day in range(12, 22)]
    assert set(preview.changes["subject"]) == {"T-1"}
    assert work(preview) == {
        ("seal_service", "old"): 1, ("seal_service", "new"): 1, ("seal_service", "sooner"): 1
    }  # fmt: skip
    (job,) = preview.jobs.rows(named=True)
    assert job["old_since"] - job["new_since"] == timedelta(days=10)


def test_what_becomes_undecided_and_what_is_decided_at_last(fleet_of):
    fleet = fleet_of([reading("2026-05-01", 25.0, "R-1", inlet_tds=None)])
    blind = outlet(20).replace("outlet_tds < house_limit", "inlet_tds + outlet_tds < house_limit")
    there, back = compared(fleet, outlet(20), blind), compared(fleet, blind, outlet(20))
    assert changed(there) == [("R-1", "does not conform", "undecided")]
    assert there.changes["change"].to_list() == ["becomes undecided"]
    assert changed(back) == [("R-1", "undecided", "does not conform")]
    assert back.changes["change"].to_list() == ["newly fails"]


def test_more_time_to_follow_up_turns_the_outcome_though_subjects_are_judged_apart(fleet_of):
    complaint = {"kind": "complaint", "at": "2026-05-01T08:00", "van": "Quill", "record": "C-1"}
    fleet = fleet_of([complaint, reading("2026-05-04", 5.0, "R-1")])
    preview = compared(fleet, COMPLAINT.format(days=2), COMPLAINT.format(days=3))
    assert changed(preview) == [("C-1", "does not conform", "conforms")]
    assert preview.changes["change"].to_list() == ["newly passes"]


def test_rules_that_are_added_removed_amended_or_only_reworded_are_told_apart(fleet_of):
    fleet = fleet_of([reading("2026-05-01", 17.0, "R-1"), reading("2026-05-02", 5.0, "R-2")])
    old = edition("1", outlet(15, "gone"), outlet(20, "kept"), outlet(20, "told"), outlet(20, "ab"))
    new = edition(
        "2", outlet(16, "fresh"), outlet(20, "kept"), outlet(20, "told", "major"), outlet(12, "ab")
    )
    preview = compared(fleet, old, new)
    standings = {pair.rule: pair.standing for pair in preview.adoption.pairs}
    assert standings == {
        "ab": "amended", "fresh": "added", "gone": "removed", "kept": "unchanged", "told": "amended"
    }  # fmt: skip
    differences = {p.rule: [tuple(d) for d in p.differences] for p in preview.adoption.pairs}
    assert differences["told"] == [("grading", "minor", "major")]
    assert differences["ab"] == [("limits.house_limit.is", "20 mg/L", "12 mg/L")]
    rows = preview.changes.select("rule", "subject", "change", "was", "becomes").rows()
    assert rows == [
        ("ab", "R-1", "newly fails", "conforms", "does not conform"),
        ("fresh", "R-1", "newly fails", "no such rule", "does not conform"),
        ("gone", "R-1", "no longer judged", "does not conform", "no such rule"),
    ]


def test_rules_that_fail_on_one_charge_call_for_one_resin_change(fleet_of):
    """Readings of 17 and 32 on one charge: three rules fail, one job, whichever limit moves."""
    records = [
        resin_change("2026-04-30", "C-1"),
        reading("2026-05-01", 17.0, "R-1"),
        reading("2026-05-02", 5.0, "R-2"),
        reading("2026-05-03", 32.0, "R-3"),
        resin_change("2026-05-04", "C-2"),
    ]
    stop = outlet(30, "stop", "major")
    preview = compared(fleet_of(records), [edition("1", outlet(20), stop)], [
        edition("2", outlet(15), stop)
    ])  # fmt: skip
    assert work(preview) == {
        ("resin_change", "old"): 1, ("resin_change", "new"): 1, ("resin_change", "sooner"): 1
    }  # fmt: skip
    (job,) = preview.jobs.rows(named=True)
    assert (job["new_since"].day, job["old_since"].day, job["done"].day) == (1, 3, 4)


def test_a_charge_that_only_the_new_limit_catches_is_an_extra_job_done_or_not(fleet_of):
    records = [
        resin_change("2026-04-30", "C-1"),
        reading("2026-05-01", 17.0, "R-1"),
        resin_change("2026-05-02", "C-2"),
        reading("2026-05-03", 17.0, "R-2"),
        reading("2026-05-03", 17.0, "R-3", tank="T-2"),
    ]
    fleet = fleet_of(records)
    preview = compared(fleet, outlet(20), outlet(15))
    assert work(preview) == {
        ("resin_change", "new"): 3, ("resin_change", "extra"): 3, ("resin_change", "extra, done"): 1
    }  # fmt: skip
    assert work(compared(fleet, outlet(15), outlet(20))) == {
        ("resin_change", "old"): 3, ("resin_change", "saved"): 3
    }  # fmt: skip


def test_one_meter_check_is_called_for_by_readings_on_many_tanks(fleet_of):
    """Checked on 1 May; 40 days later, on 10 June, read on three tanks, in blocks of their own."""
    records = [meter_check("2026-05-01", "M-1/1")] + [
        reading("2026-06-10", 5.0, f"R-{n}", tank=f"T-{n}", meter="M-1") for n in range(3)
    ]
    later = datetime(2026, 7, 1, tzinfo=UTC)
    preview = compared(
        fleet_of(records), CHECK.format(days=90), CHECK.format(days=30), as_of=later, blocks=3
    )
    assert preview.changes.height == 3
    assert work(preview) == {("meter_check", "new"): 1, ("meter_check", "extra"): 1}
    assert preview.jobs["on"].to_list() == ["M-1"]


def test_a_seal_that_stays_overdue_is_one_job_through_resin_changes_and_other_services(fleet_of):
    """New on 1 January; over 90 d from 1 April on, whatever else is done to the tank since."""
    greased = {**seal_service("2026-04-20", "S-2"), "replaced": False}
    records = [
        seal_service("2026-01-01", "S-1"),
        *(resin_change(f"2026-04-{day}", f"C-{day}") for day in (10, 20, 30)),
        greased,
        reading("2026-05-30", 5.0, "R-1"),
    ]
    preview = compared(fleet_of(records), SEAL.format(days=365), SEAL.format(days=90))
    assert preview.changes.height == 30 + 31 + 1
    assert work(preview) == {("seal_service", "new"): 1, ("seal_service", "extra"): 1}
    assert preview.jobs["done"].to_list() == [None]


def test_a_rule_set_that_the_new_side_does_not_name_goes_on_and_shares_its_jobs(fleet_of):
    fleet = fleet_of([reading("2026-05-01", 32.0, "R-1")])
    other = edition("1", outlet(30, "stop"), rule_set="other")
    preview = compared(fleet, [edition("1", outlet(40)), other], edition("2", outlet(15)))
    standings = {pair.rule_set: pair.standing for pair in preview.adoption.pairs}
    assert standings == {"house": "amended", "other": "unchanged"}
    assert work(preview) == {("resin_change", "old"): 1, ("resin_change", "new"): 1}


def test_of_several_editions_of_a_set_the_last_to_begin_is_compared(fleet_of):
    fleet = fleet_of([reading("2026-05-01", 17.0, "R-1")])
    olds = [
        edition("b", outlet(20), begins="2026-02-01"), edition("a", outlet(10), begins="2026-01-01")
    ]  # fmt: skip
    preview = compared(fleet, olds, edition("c", outlet(15)))
    assert changed(preview) == [("R-1", "conforms", "does not conform")]
    assert preview.adoption.notes == ("Of 'house' edition b is compared, a is not.",)


def test_two_editions_of_one_name_that_differ_are_noted(fleet_of):
    preview = compared(fleet_of([]), edition("1", outlet(20)), edition("1", outlet(15)))
    (note,) = preview.adoption.notes
    assert "'house 1'" in note
    assert preview.judged == 0


def test_what_is_permitted_fails_under_permission_and_calls_for_no_work(fleet_of):
    """A concession for May; a new wording that takes none makes the failure count again."""
    day = datetime(2026, 5, 30, tzinfo=UTC)
    concession = Permission(
        "P-1", CONCESSION, "house", None, None, None, "trial", "P-07", "P-08", day, day,
        datetime(2026, 5, 1, tzinfo=UTC), datetime(2026, 5, 29, tzinfo=UTC), 90, "p.yaml", 1, "0",
    )  # fmt: skip
    fleet = fleet_of([reading("2026-05-10", 17.0, "R-1")])
    permitted = compared(fleet, outlet(20), outlet(15), permissions=(concession,))
    assert changed(permitted) == [("R-1", "conforms", "does not conform, permitted")]
    assert permitted.changes["change"].to_list() == ["fails under permission"]
    assert work(permitted) == {}
    strict = outlet(15, more="\n    permission: never")
    taken_back = compared(fleet, outlet(15), strict, permissions=(concession,))
    assert changed(taken_back) == [("R-1", "does not conform, permitted", "does not conform")]
    assert work(taken_back)["resin_change", "extra"] == 1


@pytest.fixture(scope="module")
def crowd(fleet_of):
    """Six tanks, a hundred days of readings, seals and changes at random by a fixed seed."""
    chance = np.random.default_rng(11)
    records = []
    first = datetime(2026, 2, 1, tzinfo=UTC)
    for number in range(600):
        tank, days = f"T-{chance.integers(6)}", int(chance.integers(100))
        at = f"{first + timedelta(days=days):%Y-%m-%d}"
        match number % 12:
            case 0:
                records.append(resin_change(at, f"C-{number}", tank))
            case 1:
                records.append(seal_service(at, f"S-{number}", tank))
            case _:
                value = float(chance.integers(40)) if chance.random() > 0.1 else None
                records.append(reading(at, value, f"R-{number}", tank))
    return fleet_of(records)


def sides():
    old = edition("1", outlet(20), outlet(30, "stop", "major"), SEAL.format(days=60))
    new = edition("2", outlet(15), outlet(33, "stop", "major"), SEAL.format(days=30))
    return old, new


def test_one_block_and_six_give_the_same_bytes(crowd):
    texts = {
        comparison_json(Comparison(compared(crowd, *sides(), blocks=blocks)))
        for blocks in (1, 2, 6)
    }
    assert len(texts) == 1


@pytest.mark.parametrize("side", [0, 1])
def test_the_outcomes_are_those_of_an_inspection_by_each_edition_alone(crowd, side):
    """Failures that a side has and the other has not, counted against both inspections."""
    first, last = date(2026, 2, 1), AS_OF.date()
    both = []
    for source in sides():
        task = Assignment(
            crowd.past.history.frames, crowd.register, AS_OF, Period(first, last), blocks=2
        )
        both.append(inspect(task, (), lambda host, s=source: [s]).coverage)
    preview = compared(crowd, *sides())
    column = ("was", "becomes")[side]
    for outcome in ("does not conform", "undecided"):
        name = outcome.replace(" ", "_")
        gained = dict.fromkeys(both[0]["rule"], 0)
        for rule, was, becomes in preview.changes.select("rule", "was", "becomes").rows():
            gained[rule] += (becomes == outcome) - (was == outcome)
        difference = {
            rule: both[1].filter(rule=rule)[name].item() - both[0].filter(rule=rule)[name].item()
            for rule in gained
        }
        assert gained == difference
    assert preview.changes.filter(pl.col(column) == "does not conform").height > 20


def test_jobs_are_never_more_than_findings_and_extra_less_saved_is_the_difference(crowd):
    preview = compared(crowd, *sides())
    jobs = work(preview)
    for kind in ("resin_change", "seal_service"):
        told = [jobs.get((kind, what), 0) for what in ("old", "new", "extra", "saved")]
        assert told[1] - told[0] == told[2] - told[3]
    runs = 0
    for source in sides():
        task = Assignment(crowd.past.history.frames, crowd.register, AS_OF)
        found = inspect(task, (), lambda host, s=source: [s]).findings
        runs += found.filter(outcome="does not conform", subject_kind="reading").height
    assert 0 < jobs["resin_change", "old"] + jobs["resin_change", "new"] <= runs
