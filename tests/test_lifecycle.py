"""The life of a finding: new, still open, closed by which record, or not judged this time."""

import json
from datetime import UTC, date, datetime

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.inspection import Assignment, inspect
from qa_engine.lifecycle import STATES, earlier_report, is_open
from qa_engine.report import Report
from qa_engine.report.as_json import json_report
from qa_engine.subjects import Period

FRIDAY = datetime(2026, 5, 8, 18, tzinfo=UTC)
MONDAY = datetime(2026, 5, 11, 18, tzinfo=UTC)

HEAD = """
rule_set: house
title: House
edition: 2026-01
in_force: {from: 2020-01-01}
owner: standards lead
rules:
"""

RULES = {
    "stop": """
  - rule: outlet-below-stop-limit
    title: Rinsing stops when the outlet reads high
    subject: reading
    applies_if: sampled != "first flush"
    requires: outlet_tds < stop_limit
    limits: {stop_limit: {is: 30 mg/L, basis: common practice}}
    grading: major
    says: Outlet read {outlet_tds}, limit {stop_limit}.
    correction: Stop and change the resin.
    examples:
      conforms: [{outlet_tds: 29 mg/L, sampled: flowing}]
      does_not_conform: [{outlet_tds: 30 mg/L, sampled: flowing}]
      undecided: [{}]
      not_applicable: [{outlet_tds: 30 mg/L, sampled: first flush}]
""",
    "seal": """
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
""",
    "rinses": """
  - rule: few-rinses-on-a-charge
    title: Few rinses on one charge
    subject: charge
    requires: charge_rinses <= few
    limits: {few: {is: 2 count, basis: common practice}}
    grading: advice
    says: "{charge_rinses} vehicles were rinsed on this resin."
    correction: Change the resin.
    examples:
      conforms: [{charge_rinses: 2 count}]
      does_not_conform: [{charge_rinses: 3 count}]
      undecided: [{}]
""",
    "complaint": """
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
""",
    "use": """
  - rule: nothing-rinsed-after-an-incident
    title: Nothing is rinsed after an incident
    subject: rinse
    requires: not incident_open
    grading: major
    says: T was used after an incident.
    correction: Have it examined.
    examples:
      conforms: [{incident_open: no}]
      does_not_conform: [{incident_open: yes}]
      undecided: [{}]
""",
}


def at(day, hour=8):
    return f"2026-05-{day:02}T{hour:02}:00"


def reading(day, outlet, record, tank="T-1", hour=8, **more):
    known = {"kind": "reading", "at": at(day, hour), "tank": tank, "record": record}
    return {**known, "outlet_tds": outlet, "sampled": "flowing", **more}


def rinse(day, record, tank="T-1", hour=9):
    return {"kind": "rinse", "at": at(day, hour), "tank": tank, "record": record, "rinses": 1}


def change(day, record, tank="T-1"):
    done = {"change": "emptied and refilled", "grade": "standard mixed bed", "resin_volume": 14.0}
    return {"kind": "resin_change", "at": at(day, 7), "tank": tank, "record": record, **done}


def seal(day, record, year=2026, tank="T-1"):
    done = {"seal": "head", "replaced": True}
    when = at(day).replace("2026", str(year))
    return {"kind": "seal_service", "at": when, "tank": tank, "record": record, **done}


def inspected(fleet, as_of, *rules, against=None, swap=("", ""), **more):
    """Return the report on a fleet by the named rules, or all, as bytes of JSON."""
    text = (HEAD + "".join(RULES[name] for name in rules or RULES)).replace(*swap)
    earlier = earlier_report("earlier.json", against) if against else None
    frames = more.pop("frames", None) or fleet.past.history.frames
    task = Assignment(frames, fleet.register, as_of, earlier=earlier, **more)
    inspection = inspect(task, (), lambda host: [("house.yaml", text.encode())])
    return json_report(Report(inspection)).encode()


def changes(report):
    """Return the changes that a report tells of, each as its state and its members."""
    against = json.loads(report)["against"]
    return [(state, one) for state in STATES for one in against[state.replace(" ", "_")]]


def known(report):
    """Return state, rule and item of each change, and what it was called in the earlier report."""
    return sorted(
        (state, c["rule"], c["item"], c.get("earlier") or "") for state, c in changes(report)
    )


def since_friday(fleet_of, before, after, *rules, **more):
    """Return the changes from Friday's records to Monday's by the same rules."""
    friday = inspected(fleet_of(before, **more), FRIDAY, *rules)
    return changes(inspected(fleet_of(after, **more), MONDAY, *rules, against=friday))


def test_monday_says_what_is_new_still_open_and_closed_and_by_which_record(fleet_of):
    friday = [
        reading(6, 31.0, "open", tank="T-1"),
        reading(6, 31.0, "settled", tank="T-2"),
        reading(6, 5.0, "fine", tank="T-3"),
    ]
    weekend = [reading(9, 6.0, "good", tank="T-2"), reading(9, 40.0, "bad", tank="T-3")]
    (_, new), (_, open_), (_, closed) = told = since_friday(
        fleet_of, friday, friday + weekend, "stop"
    )
    assert [state for state, _ in told] == ["new", "still open", "closed"]
    assert new["finding"] == "house/outlet-below-stop-limit/reading/bad"
    assert (open_["finding"], open_["tank"]) == (open_["earlier"], "T-1")
    assert (closed["earlier"], closed["closed_by"], closed["closed_at"]) == (
        "house/outlet-below-stop-limit/reading/settled", ["good"], "2026-05-09T08:00:00Z",
    )  # fmt: skip


def test_it_is_the_first_record_that_conforms_that_closes_and_later_failures_are_new(fleet_of):
    before = [reading(6, 31.0, "R-6")]
    after = [*before, reading(9, 5.0, "R-9"), reading(10, 5.0, "R-10"), reading(11, 50.0, "R-11")]
    told = since_friday(fleet_of, before, after, "stop")
    assert [(state, c["finding"][-4:]) for state, c in told] == [
        ("new", "R-11"),
        ("closed", "/R-6"),
    ]
    assert told[1][1]["closed_by"] == ["R-9"]


def test_two_readings_at_one_instant_stand_in_the_order_of_their_ids(fleet_of):
    before = [reading(6, 31.0, "R-1")]
    ((state, change_),) = since_friday(fleet_of, before, [*before, reading(6, 5.0, "R-2")], "stop")
    assert (state, change_["closed_by"]) == ("closed", ["R-2"])


@pytest.mark.parametrize(
    "after",
    [
        [],
        [reading(9, None, "R-9")],
        [reading(9, 5.0, "R-9", sampled="first flush")],
        [change(9, "C-9")],
        [reading(9, 5.0, "R-9", tank="T-2")],
    ],
    ids=["silence", "no value", "not applicable", "resin change alone", "another tank"],
)
def test_what_does_not_conform_for_itself_closes_nothing(fleet_of, after):
    before = [reading(6, 31.0, "R-6")]
    told = since_friday(fleet_of, before, before + after, "stop")
    assert ("still open", "R-6") in [(s, (c["earlier"] or "")[-3:]) for s, c in told if s != "new"]
    assert "closed" not in [state for state, _ in told]


def test_what_came_and_went_since_then_is_closed_and_was_in_no_earlier_report(fleet_of):
    before = [reading(6, 5.0, "R-6")]
    after = [*before, reading(9, 31.0, "R-9"), reading(10, 5.0, "R-10")]
    ((state, change_),) = since_friday(fleet_of, before, after, "stop")
    assert (state, change_["earlier"], change_["closed_by"]) == ("closed", None, ["R-10"])


def test_what_was_closed_already_is_not_told_again(fleet_of):
    before = [reading(4, 31.0, "R-4"), reading(5, 5.0, "R-5")]
    assert since_friday(fleet_of, before, before, "stop") == []


def test_a_late_record_that_gives_a_finding_another_id_makes_it_no_new_one(fleet_of):
    before = [reading(6, 31.0, "R-6")]
    ((state, change_),) = since_friday(
        fleet_of, before, [reading(5, 33.0, "late"), *before], "stop"
    )
    assert state == "still open"
    assert (change_["finding"][-5:], change_["earlier"][-4:]) == ("/late", "/R-6")


def test_a_late_record_that_cuts_a_finding_in_two_leaves_it_open(fleet_of):
    before = [reading(5, 31.0, "R-5"), reading(7, 31.0, "R-7")]
    ((state, change_),) = since_friday(fleet_of, before, [*before, reading(6, 5.0, "late")], "stop")
    assert (state, change_["finding"][-4:]) == ("still open", "/R-7")


def test_two_findings_that_a_late_change_of_a_record_joins_are_told_once(fleet_of):
    before = [reading(5, 31.0, "R-5"), change(6, "C-6"), reading(7, 31.0, "R-7")]
    after = [one for one in before if one["record"] != "C-6"] + [change(2, "C-6")]
    told = since_friday(fleet_of, before, after, "stop")
    assert [(s, c["finding"][-4:], c["earlier"][-4:]) for s, c in told] == [
        ("still open", "/R-5", "/R-5")
    ]


def test_a_corrected_record_closes_its_own_finding_and_that_is_said(fleet_of):
    ((state, change_),) = since_friday(
        fleet_of, [reading(6, 310.0, "R-6")], [reading(6, 3.1, "R-6")], "stop"
    )
    assert (state, change_["closed_by"]) == ("closed", ["R-6"])
    assert change_["reason"] == "as it stands now, without a later record"


def test_a_limit_that_was_raised_in_place_closes_nothing(fleet_of):
    fleet = fleet_of([reading(6, 31.0, "R-6")])
    friday = inspected(fleet, FRIDAY, "stop")
    lax = ("is: 30 mg/L", "is: 50 mg/L")
    ((state, change_),) = changes(inspected(fleet, MONDAY, "stop", against=friday, swap=lax))
    assert state == "not judged"
    assert "changed rule" in change_["reason"]


def test_a_complaint_is_closed_by_the_late_reading_that_followed_it(fleet_of):
    before = [{"kind": "complaint", "at": at(4), "van": "Quill", "record": "K-4"}]
    after = [*before, reading(5, 5.0, "late", van="Quill")]
    ((state, change_),) = since_friday(fleet_of, before, after, "complaint")
    assert (state, change_["closed_by"], change_["reason"]) == ("closed", ["late"], None)


def test_a_thing_is_closed_by_the_record_that_its_facts_newly_cite(fleet_of):
    before = [seal(1, "S-old", year=2024)]
    ((state, change_),) = since_friday(fleet_of, before, [*before, seal(9, "S-new")], "seal")
    assert (state, change_["closed_by"]) == ("closed", ["S-new"])


def test_a_thing_judged_by_sums_is_closed_by_its_last_record(fleet_of):
    """Three rinses on the charge; without a change the sum cannot fall, so the change closes."""
    before = [change(1, "C-1"), *(rinse(d, f"N-{d}") for d in (2, 3, 4))]
    told = since_friday(fleet_of, before, [*before, change(9, "C-9"), rinse(9, "N-9")], "rinses")
    assert [(state, c["closed_by"]) for state, c in told] == [("closed", ["C-9"])]


@pytest.mark.parametrize(
    ("more", "closed_by", "reason"),
    [
        ([], ["C-1"], "as it stands now, without a later record"),
        ([rinse(9, "N-9")], ["N-9"], "with all records up to it"),
    ],
)
def test_sums_cite_no_record_so_the_last_one_stands_for_all(fleet_of, more, closed_by, reason):
    """On Friday the number of vehicles of N-2 was not known, so neither was the sum."""
    before = [change(1, "C-1"), {**rinse(2, "N-2"), "rinses": None}]
    after = [change(1, "C-1"), rinse(2, "N-2"), *more]
    ((state, change_),) = since_friday(fleet_of, before, after, "rinses")
    assert (state, change_["closed_by"], change_["reason"]) == ("closed", closed_by, reason)


def test_a_rule_that_was_not_read_leaves_its_findings_unjudged(fleet_of):
    fleet = fleet_of([reading(6, 31.0, "R-6"), reading(9, 5.0, "R-9")])
    friday = inspected(fleet, FRIDAY, "stop", "seal")
    told = changes(inspected(fleet, MONDAY, "seal", against=friday))
    assert [(s, c["rule"], c["reason"]) for s, c in told if s == "not judged"] == [
        ("not judged", "outlet-below-stop-limit", "its rule was not read")
    ]


def test_a_record_that_was_not_read_leaves_its_findings_unjudged(fleet_of):
    incident = {"kind": "incident", "at": at(5), "tank": "T-1", "record": "I-5", "incident": "drop"}
    before = [incident, rinse(6, "N-6")]
    ((state, change_),) = since_friday(fleet_of, before, [rinse(6, "N-6"), rinse(9, "N-9")], "use")
    assert (state, change_["reason"]) == ("not judged", "not read this time: I-5")


def test_fewer_records_than_a_sum_rested_on_leave_it_unjudged(fleet_of):
    """The finding cites the charge alone; two of its three rinses are missing on Monday."""
    before = [change(1, "C-1"), *(rinse(d, f"N-{d}") for d in (2, 3, 4))]
    ((state, change_),) = since_friday(fleet_of, before, before[:2], "rinses")
    assert state == "not judged"
    assert change_["reason"] == "fewer records were read than it rests on: rinse 1 of 3"


def test_what_was_missing_once_is_still_asked_for_the_next_time(fleet_of):
    """Two of three rinses are missing on Saturday and on Monday, when Saturday's is compared."""
    whole = [change(1, "C-1"), *(rinse(d, f"N-{d}") for d in (2, 3, 4))]
    friday = inspected(fleet_of(whole), FRIDAY, "rinses")
    saturday = inspected(fleet_of(whole[:2]), FRIDAY, "rinses", against=friday)
    ((state, change_),) = changes(
        inspected(fleet_of(whole[:2]), MONDAY, "rinses", against=saturday)
    )
    assert (state, change_["reason"]) == (
        "not judged", "fewer records were read than it rests on: rinse 1 of 3",
    )  # fmt: skip


def test_what_is_left_of_an_unjudged_finding_is_not_new(fleet_of):
    before = [reading(5, 31.0, "R-5"), reading(6, 31.0, "R-6")]
    ((state, change_),) = since_friday(fleet_of, before, before[1:], "stop")
    assert (state, change_["reason"]) == ("not judged", "not read this time: R-5")


def test_what_came_and_went_outside_the_period_is_told_as_well(fleet_of):
    before = [reading(6, 5.0, "R-6")]
    fleet = fleet_of([*before, reading(9, 31.0, "R-9"), reading(10, 5.0, "R-10")])
    friday = inspected(fleet_of(before), FRIDAY, "stop")
    days = Period(date(2026, 5, 1), date(2026, 5, 2))
    ((state, _),) = changes(inspected(fleet, MONDAY, "stop", against=friday, period=days))
    assert state == "closed"


def test_a_thing_is_open_only_if_it_is_so_at_the_instant_of_the_inspection():
    kinds, ends = ["tank", "tank", "reading", "reading"], [MONDAY, FRIDAY, FRIDAY, FRIDAY]
    closed = pl.Series("closed_at", [None, None, None, MONDAY], pl.Datetime("us", "UTC"))
    frame = pl.DataFrame({"subject_kind": kinds, "until": ends}).with_columns(closed)
    assert frame.select(is_open(MONDAY)).to_series().to_list() == [True, False, True, False]


def test_a_new_rule_finds_new_things_and_says_that_it_is_new(fleet_of):
    fleet = fleet_of([reading(6, 31.0, "R-6")])
    friday = inspected(fleet, FRIDAY, "complaint")
    ((state, change_),) = changes(inspected(fleet, MONDAY, "stop", "complaint", against=friday))
    assert (state, change_["reason"]) == ("new", "its rule was not read then")


def test_what_opens_again_is_new_and_says_so(fleet_of):
    """R-7 conformed on Friday; it was corrected to what the meter really showed."""
    before = [reading(6, 31.0, "R-6"), reading(7, 3.0, "R-7")]
    after = [reading(6, 31.0, "R-6"), reading(7, 33.0, "R-7")]
    ((state, change_),) = since_friday(fleet_of, before, after, "stop")
    assert (state, change_["reason"]) == ("new", "open again")


RECORDS = st.lists(
    st.one_of(
        st.builds(
            reading,
            st.integers(1, 11),
            st.sampled_from([None, 1.0, 31.0]),
            st.none(),
            tank=st.sampled_from(["T-1", "T-2"]),
            hour=st.integers(0, 3),
            van=st.sampled_from([None, "Quill"]),
        ),
        st.builds(rinse, st.integers(1, 11), st.none(), tank=st.sampled_from(["T-1", "T-2"])),
        st.builds(change, st.integers(1, 11), st.none(), tank=st.sampled_from(["T-1", "T-2"])),
        st.builds(
            seal,
            st.integers(1, 11),
            st.none(),
            year=st.sampled_from([2024, 2026]),
            tank=st.sampled_from(["T-1", "T-2"]),
        ),
        st.builds(lambda d: {"kind": "complaint", "at": at(d), "van": "Quill"}, st.integers(1, 11)),
        st.builds(
            lambda d: {"kind": "incident", "at": at(d), "tank": "T-1", "incident": "drop"},
            st.integers(1, 11),
        ),
    ),
    min_size=1,
    max_size=20,
).map(lambda rows: [{**row, "record": f"R-{n:02}"} for n, row in enumerate(rows)])

PROPERTY = settings(deadline=None, max_examples=12)


def until(rows, instant):
    return [row for row in rows if datetime.fromisoformat(row["at"] + "+00:00") <= instant]


@PROPERTY
@given(RECORDS, st.integers(0, 99))
def test_the_order_of_rows_and_the_number_of_blocks_change_nothing(fleet_of, rows, seed):
    fleet = fleet_of(rows)
    friday = inspected(fleet, FRIDAY)
    shuffled = {
        k: f.sample(fraction=1, shuffle=True, seed=seed)
        for k, f in fleet.past.history.frames.items()
    }
    monday = inspected(fleet, MONDAY, against=friday)
    assert inspected(fleet, MONDAY, against=friday, frames=shuffled, blocks=4) == monday


@PROPERTY
@given(RECORDS, st.sampled_from([(1, 3), (4, 8), (9, 11)]), st.booleans(), st.booleans())
def test_a_period_changes_nothing(fleet_of, rows, days, then, now):
    fleet = fleet_of(rows)
    period = Period(*(date(2026, 5, day) for day in days))
    friday, monday = (
        [inspected(fleet, FRIDAY, period=period if one else None) for one in (False, then)],
        [None, period if now else None],
    )
    whole, part = (
        known(inspected(fleet, MONDAY, against=one, period=days_))
        for one, days_ in zip(friday, monday, strict=True)
    )
    assert part == whole


@PROPERTY
@given(RECORDS, st.sets(st.sampled_from(list(RULES)), min_size=1))
def test_a_partial_run_in_between_changes_nothing(fleet_of, rows, rules):
    fleet = fleet_of(rows)
    friday = inspected(fleet, FRIDAY)
    partial = inspected(fleet, FRIDAY, *sorted(rules), against=friday)
    assert {state for state, _ in changes(partial)} <= {"still open", "not judged"}
    straight, round_about = (
        known(inspected(fleet, MONDAY, against=one)) for one in (friday, partial)
    )
    assert round_about == straight


@PROPERTY
@given(RECORDS, st.data())
def test_records_that_are_missing_or_unreadable_close_nothing(fleet_of, rows, data):
    """Whatever was known on Friday and is missing on Monday: only whole inputs close a finding."""
    friday = inspected(fleet_of(rows), FRIDAY)
    whole = dict(judged_again(inspected(fleet_of(rows), MONDAY, against=friday)))
    there = until(rows, FRIDAY)
    gone = data.draw(st.sets(st.sampled_from([r["record"] for r in there or rows]), min_size=1))
    left = [row for row in rows if row["record"] not in gone]
    for key, state in judged_again(inspected(fleet_of(left), MONDAY, against=friday)):
        assert state in ("not judged", "still open", whole[key])
    blank = [
        {**r, "outlet_tds": None} if r["record"] in gone and "outlet_tds" in r else r for r in rows
    ]
    for key, state in judged_again(inspected(fleet_of(blank), MONDAY, against=friday)):
        assert state != "closed" or whole.get(key) == "closed"


def judged_again(report):
    """Return each finding of the earlier report with what became of it."""
    return [(c["earlier"], state) for state, c in changes(report) if c.get("earlier")]


@PROPERTY
@given(RECORDS, st.data())
def test_late_records_lose_no_finding_and_make_no_known_one_new(fleet_of, rows, data):
    late = data.draw(st.sets(st.sampled_from([row["record"] for row in rows])))
    then = [row for row in rows if row["record"] not in late]
    friday = inspected(fleet_of(then), FRIDAY)
    monday = inspected(fleet_of(rows), MONDAY, against=friday)
    told = changes(monday)
    lasting = {(c["rule"], c["item"]) for state, c in told if state in ("still open", "not judged")}
    report = json.loads(friday)
    for one in report["findings"]:
        if one["closed_at"] is None and one["subject"]["kind"] not in ("tank", "charge"):
            same = [s for s, c in told if (c["rule"], c["item"]) == (one["rule"], one["item"])]
            assert set(same) & {"still open", "closed", "not judged"}
    for state, c in told:
        if state == "new" and c["reason"] is None and (c["rule"], c["item"]) in lasting:
            evidence = set(evidence_of(monday, c["finding"]))
            before = [set(f["evidence"]) for f in report["findings"] if f["rule"] == c["rule"]]
            assert not any(evidence & one for one in before)


def evidence_of(report, finding):
    return next(f["evidence"] for f in json.loads(report)["findings"] if f["finding"] == finding)


def test_findings_of_monday_are_new_or_followed_exactly_once(fleet_of):
    rows = [reading(d, 31.0, f"R-{d}", tank=f"T-{d % 3}") for d in range(1, 11)]
    friday = inspected(fleet_of(until(rows, FRIDAY)), FRIDAY, "stop")
    monday = inspected(fleet_of(rows), MONDAY, "stop", against=friday)
    found = pl.DataFrame({"finding": [c["finding"] for _, c in changes(monday)]})
    assert sorted(found["finding"]) == sorted(f["finding"] for f in json.loads(monday)["findings"])
