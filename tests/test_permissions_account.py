"""Findings under permission: which are and until when, and what is said of each permission."""

from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.inspection import Assignment, inspect
from qa_engine.permissions import CONCESSION, DEVIATION_PERMIT, Permission
from qa_engine.report import Report
from qa_engine.report.as_json import json_report
from qa_engine.report.as_text import text_report
from qa_engine.subjects import Period

TICK = timedelta(microseconds=1)
AS_OF = datetime(2026, 6, 1, 12, tzinfo=UTC)

OUTLET = """
rule_set: house
title: House
edition: {edition}
in_force: {{from: {day}}}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet below the house limit
    subject: reading
    requires: outlet_tds < house_limit
    limits: {{house_limit: {{is: 20 mg/L, basis: common practice}}}}
    grading: minor
    {permission}
    says: Outlet read {{outlet_tds}}.
    correction: Change the resin.
    examples:
      conforms: [{{outlet_tds: 19 mg/L}}]
      does_not_conform: [{{outlet_tds: 20 mg/L}}]
      undecided: [{{}}]
  - rule: tank-known
    title: The tank stands in the register
    subject: tank
    requires: tank_known
    grading: minor
    says: Tank {{tank}} does not stand in the register.
    correction: Enter it.
    examples:
      conforms: [{{tank_known: yes}}]
      does_not_conform: [{{tank_known: no}}]
      undecided: [{{}}]
"""
ONE = OUTLET.format(edition="2026-01", day="2020-01-01", permission="")
NEVER_FROM_MAY_5 = OUTLET.format(
    edition="2026-05", day="2026-05-05", permission="permission: never"
)


def permission(name="DP-1", begins=date(2026, 5, 2), until=date(2026, 5, 4), **more):
    """Return a permission for readings on all tanks, unless told otherwise."""
    told = {
        "permission": name,
        "type": DEVIATION_PERMIT,
        "rule_set": "house",
        "rule": "outlet-below-house-limit",
        "van": None,
        "tank": None,
        "reason": "Resin is late.",
        "requested_by": "P-07",
        "approved_by": "P-01",
        "requested_on": date(2026, 5, 1),
        "approved_on": date(2026, 5, 1),
        "longest_d": 30,
        "source": "permissions.yaml",
        "line": 1,
        "sha256": "",
    }
    return Permission(**{**told, "begins": begins, "until": until, **more})


def reading(day, outlet=31.0, tank="T-1", at=None, **more):
    return {
        "kind": "reading", "at": at or f"2026-05-{day:02}T08:00:00", "tank": tank,
        "outlet_tds": outlet, "record": f"{tank}/{day}", **more,
    }  # fmt: skip


def inspected(fleet, *permissions, as_of=AS_OF, rules=(ONE,), **more):
    frames = fleet.past.history.frames
    task = Assignment(frames, fleet.register, as_of, permissions=permissions, **more)
    return inspect(task, (), lambda host: [(f"{n}.yaml", r.encode()) for n, r in enumerate(rules)])


def under(inspection, rule="outlet-below-house-limit"):
    """Return for each finding of a rule its first and last day in May and its permission."""
    rows = inspection.findings.filter(pl.col("rule") == rule).sort("tank", "since")
    return [(r["since"].day, r["until"].day, r["permission"]) for r in rows.iter_rows(named=True)]


def faults(inspection):
    return [[fault.fault for fault in one.faults] for one in inspection.permissions]


def test_a_run_is_cut_where_the_permission_begins_and_ends(fleet_of):
    fleet = fleet_of([reading(day) for day in range(1, 7)])
    inspection = inspected(fleet, permission())
    assert under(inspection) == [(1, 1, None), (2, 4, "DP-1"), (5, 6, None)]
    assert [one.uses for one in inspection.permissions] == [1]
    assert under(inspected(fleet)) == [(1, 6, None)]


def test_the_midnight_that_ends_the_last_day_is_no_longer_covered(fleet_of):
    """London is an hour ahead of UTC in May: 4 May ends at 23:00 UTC."""
    fleet = fleet_of(
        [
            reading(4, at="2026-05-04T22:59:59.999999"),
            reading(5, at="2026-05-04T23:00:00"),
        ],
        zone="Europe/London",
    )
    inspection = inspected(fleet, permission())
    assert under(inspection) == [(4, 4, "DP-1"), (4, 4, None)]


def test_only_the_van_and_tank_of_the_scope_are_covered(fleet_of):
    fleet = fleet_of(
        [reading(3, van="Quill"), reading(3, tank="T-2", van="Wharf"), reading(3, tank="T-3")]
    )
    assert under(inspected(fleet, permission(van="Quill"))) == [
        (3, 3, "DP-1"), (3, 3, None), (3, 3, None),
    ]  # fmt: skip
    assert under(inspected(fleet, permission(tank="T-3"))) == [
        (3, 3, None), (3, 3, None), (3, 3, "DP-1"),
    ]  # fmt: skip
    both = permission(van="Quill", tank="T-2")
    assert under(inspected(fleet, both)) == [(3, 3, None)] * 3


def test_another_rule_is_not_covered_but_a_whole_set_is(fleet_of):
    fleet = fleet_of([reading(3)])
    period = Period(date(2026, 5, 3), date(2026, 5, 5))
    for rule, of_tank in [("outlet-below-house-limit", [None]), (None, ["DP-1", None])]:
        inspection = inspected(fleet, permission(rule=rule), period=period)
        assert under(inspection) == [(3, 3, "DP-1")]
        assert [p for *_, p in under(inspection, "tank-known")] == of_tank


def test_a_wording_that_takes_no_permission_takes_none_also_from_one_for_the_whole_set(fleet_of):
    fleet = fleet_of([reading(day) for day in (3, 4, 5, 6)])
    editions = {"rules": (ONE, NEVER_FROM_MAY_5)}
    for rule in ("outlet-below-house-limit", None):
        inspection = inspected(fleet, permission(until=date(2026, 5, 9), rule=rule), **editions)
        assert under(inspection) == [(3, 4, "DP-1"), (5, 6, None)]
    assert faults(inspected(fleet, permission(until=date(2026, 5, 9)), **editions)) == [
        ["takes none"]
    ]


def test_only_the_wordings_of_its_own_time_count_for_a_permission(fleet_of):
    """The rule takes none from 5 May on: that is no matter for one until then, all for a later."""
    fleet, editions = fleet_of([reading(day) for day in (3, 6)]), {"rules": (ONE, NEVER_FROM_MAY_5)}
    earlier = inspected(fleet, permission(), **editions).permissions[0]
    assert (earlier.state, earlier.faults) == ("lapsed", ())
    later = permission(begins=date(2026, 5, 5), until=date(2026, 5, 9))
    inspection = inspected(fleet, later, **editions)
    assert inspection.permissions[0].state == "covers nothing"
    assert faults(inspection) == [["takes none"]]


def test_what_takes_none_does_not_make_a_lapsed_permission_for_the_set_needed(fleet_of):
    fleet = fleet_of([reading(day) for day in (3, 6)], tanks=[{"tank": "T-1"}])
    lapsed = permission(rule=None)
    assert faults(inspected(fleet, lapsed)) == [["still needed"]]
    assert faults(inspected(fleet, lapsed, rules=(ONE, NEVER_FROM_MAY_5))) == [[]]


def test_a_rule_that_takes_none_makes_the_permission_cover_nothing(fleet_of):
    never = OUTLET.format(edition="1", day="2020-01-01", permission="permission: never")
    inspection = inspected(fleet_of([reading(3)]), permission(), rules=(never,))
    assert under(inspection) == [(3, 3, None)]
    assert (faults(inspection), inspection.permissions[0].state) == (
        [["takes none"]], "covers nothing",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ({"approved_by": "P-07"}, ["self-approved"]),
        ({"longest_d": 2}, ["too long"]),
        ({"approved_on": date(2026, 5, 9)}, ["approved late"]),
        ({"type": CONCESSION}, ["approved early"]),
        ({"rule_set": "huose"}, ["not judged"]),
    ],
)
def test_what_covers_nothing_says_why_and_its_findings_stand_as_without_it(fleet_of, more, fault):
    inspection = inspected(fleet_of([reading(3)]), permission(**more))
    assert under(inspection) == [(3, 3, None)]
    assert (inspection.permissions[0].state, faults(inspection)) == ("covers nothing", [fault])


def test_a_concession_covers_what_was_before_it_once_it_is_given(fleet_of):
    fleet = fleet_of([reading(3)])
    given = permission(type=CONCESSION, approved_on=date(2026, 5, 7))
    before, after = (datetime(2026, 5, 7, tzinfo=UTC) + n * TICK for n in (-1, 0))
    early = inspected(fleet, given, as_of=before)
    assert (under(early), early.permissions[0].state) == ([(3, 3, None)], "not yet")
    late = inspected(fleet, given, as_of=after)
    assert (under(late), late.permissions[0].state) == ([(3, 3, "DP-1")], "lapsed")


def test_a_tank_is_under_permission_as_of_the_last_instant_of_the_last_day(fleet_of):
    """Azores, 28 March 2026: the next day begins at 01:00 UTC, midnight is skipped."""
    fleet = fleet_of([reading(3, at="2026-03-01T08:00:00")], zone="Atlantic/Azores")
    one = permission(
        rule="tank-known", begins=date(2026, 3, 20), until=date(2026, 3, 28),
        requested_on=date(2026, 3, 1), approved_on=date(2026, 3, 1),
    )  # fmt: skip
    ends = datetime(2026, 3, 29, 1, tzinfo=UTC)
    for as_of, state, of_finding, wrong in [
        (ends - TICK, "in force", "DP-1", []),
        (ends, "lapsed", None, ["still needed"]),
    ]:
        inspection = inspected(fleet, one, as_of=as_of)
        assert [p for *_, p in under(inspection, "tank-known")] == [of_finding]
        assert (inspection.permissions[0].state, faults(inspection)) == (state, [wrong])


def test_day_by_day_a_tank_is_covered_on_every_day_up_to_the_last(fleet_of):
    """Days end a microsecond before the next begins, also the one before a skipped midnight."""
    fleet = fleet_of([reading(3, at="2026-03-26T08:00:00")], zone="Atlantic/Azores")
    one = permission(
        rule="tank-known", begins=date(2026, 3, 27), until=date(2026, 3, 28),
        requested_on=date(2026, 3, 1), approved_on=date(2026, 3, 1),
    )  # fmt: skip
    period = Period(date(2026, 3, 25), date(2026, 3, 31))
    as_of = datetime(2026, 4, 1, 12, tzinfo=UTC)
    inspection = inspected(fleet, one, as_of=as_of, period=period)
    found = inspection.findings.filter(pl.col("rule") == "tank-known").sort("since")
    ends = [datetime(2026, 3, day, hour, tzinfo=UTC) - TICK
            for day, hour in [(27, 1), (28, 1), (29, 1), (30, 0)]]  # fmt: skip
    assert found["permission"].to_list() == [None, "DP-1", None]
    assert found["since"].to_list() == [ends[0], ends[1], ends[3]]
    assert found["until"].to_list()[:2] == [ends[0], ends[2]]


def test_of_two_that_overlap_the_one_that_begins_first_counts_and_both_are_told(fleet_of):
    fleet = fleet_of([reading(day) for day in range(1, 8)])
    first = permission("Z", begins=date(2026, 5, 2), until=date(2026, 5, 4))
    second = permission("A", begins=date(2026, 5, 3), until=date(2026, 5, 6), rule=None)
    for order in [(first, second), (second, first)]:
        inspection = inspected(fleet, *order)
        assert under(inspection) == [(1, 1, None), (2, 4, "Z"), (5, 6, "A"), (7, 7, None)]
        assert all("overlapping" in kinds for kinds in faults(inspection))


def test_what_follows_on_the_next_day_or_holds_elsewhere_does_not_overlap(fleet_of):
    fleet = fleet_of([reading(3), reading(5), reading(3, tank="T-2"), reading(5, tank="T-2")])
    first, following = permission(), permission("DP-2", date(2026, 5, 5), date(2026, 5, 6))
    assert faults(inspected(fleet, first, following)) == [[], []]
    tanks = {"tanks": [{"tank": "T-1", "van": "Quill"}, {"tank": "T-2", "van": "Wharf"}],
             "vans": [{"van": "Quill"}, {"van": "Wharf"}]}  # fmt: skip
    fleet = fleet_of([reading(3), reading(3, tank="T-2", van="Quill")], **tanks)
    one, other = permission(tank="T-1"), permission("DP-2", van="Wharf")
    assert "overlapping" not in str(faults(inspected(fleet, one, other)))
    assert "overlapping" in faults(inspected(fleet, one, permission("DP-2", van="Quill")))[0]
    anywhere = fleet_of([reading(3)], tanks=[{"tank": "T-1"}])
    assert "overlapping" in faults(inspected(anywhere, one, other))[0]


def test_one_that_lapsed_without_a_finding_is_told_but_not_while_it_is_in_force(fleet_of):
    fleet = fleet_of([reading(1), reading(3, 5.0)])
    assert faults(inspected(fleet, permission())) == [["unused"]]
    now = datetime(2026, 5, 4, 12, tzinfo=UTC)
    assert faults(inspected(fleet, permission(), as_of=now)) == [[]]


def test_a_tank_judged_once_cannot_show_that_a_lapsed_permission_was_of_no_use(fleet_of):
    fleet = fleet_of([reading(1, 5.0)], tanks=[{"tank": "T-1"}])
    one = permission(rule="tank-known")
    assert faults(inspected(fleet, one)) == [[]]
    period = Period(date(2026, 5, 1), date(2026, 5, 9))
    assert faults(inspected(fleet, one, period=period)) == [["unused"]]


def test_of_several_that_lapsed_the_last_is_told_to_be_needed_still(fleet_of):
    fleet = fleet_of([reading(day) for day in range(1, 11)])
    first, last = permission(), permission("DP-2", date(2026, 5, 6), date(2026, 5, 7))
    inspection = inspected(fleet, first, last)
    assert faults(inspection) == [[], ["still needed"]]
    (fault,) = inspection.permissions[1].faults
    assert "house/outlet-below-house-limit/reading/T-1/8" in fault.says


def test_what_failed_before_a_permission_does_not_make_it_needed(fleet_of):
    assert faults(inspected(fleet_of([reading(1)]), permission())) == [["unused"]]


def test_a_place_that_the_register_lacks_is_told_with_the_nearest(fleet_of):
    fleet = fleet_of([reading(3)], tanks=[{"tank": "T-1"}])
    inspection = inspected(fleet, permission(tank="T-l"))
    (fault, *_) = inspection.permissions[0].faults
    assert (fault.fault, "did you mean 'T-1'?" in fault.says.lower().replace("t-1", "T-1")) == (
        "unknown place", True,
    )  # fmt: skip


def test_findings_under_permission_are_counted_and_shown_but_do_not_fail_the_report(fleet_of):
    fleet = fleet_of([reading(3)], tanks=[{"tank": "T-1"}])
    now = datetime(2026, 5, 4, 12, tzinfo=UTC)
    with_it = Report(inspected(fleet, permission(), as_of=now))
    without = Report(inspected(fleet, as_of=now))
    assert (with_it.exit_status, without.exit_status) == (0, 1)
    assert with_it.inspection.coverage.equals(without.inspection.coverage)
    text = " ".join(text_report(with_it).split())
    assert "or is permitted not to. One finding stands under permission." in text
    assert "DP-1 in force until the end of 4 May 2026; one finding under it" in text
    assert "T-1: Outlet read 31 mg/L. (minor, outlet-below-house-limit)" in text
    assert "Under permission" not in text_report(without)


def test_a_period_filters_findings_but_not_the_uses_of_a_permission(fleet_of):
    fleet = fleet_of([reading(3)])
    period = Period(date(2026, 5, 20), date(2026, 5, 21))
    inspection = inspected(fleet, permission(), period=period)
    assert under(inspection) == []
    assert inspection.permissions[0].uses == 1


DAYS = st.integers(1, 28).map(lambda day: date(2026, 5, day))
PERMISSIONS = st.lists(
    st.builds(
        permission,
        name=st.sampled_from(["A", "B", "C"]),
        begins=DAYS,
        until=DAYS,
        type=st.sampled_from([CONCESSION, DEVIATION_PERMIT]),
        rule=st.sampled_from([None, "outlet-below-house-limit", "tank-known"]),
        tank=st.sampled_from([None, "T-1", "T-2"]),
        approved_on=DAYS,
    ),
    max_size=3,
    unique_by=lambda one: one.permission,
)
TANKS = st.sampled_from(["T-1", "T-2"])
READINGS = st.lists(
    st.tuples(st.integers(1, 28), st.sampled_from([5.0, 31.0, None]), TANKS),
    min_size=1,
    max_size=12,
    unique_by=lambda one: (one[0], one[2]),
)


def records_of(inspection, outcome):
    """Return the records in the findings of an outcome, sorted."""
    found = inspection.findings.filter(pl.col("outcome") == outcome)
    return sorted(found["evidence"].explode().drop_nulls())


@settings(deadline=None, max_examples=25)
@given(PERMISSIONS, READINGS, st.randoms(use_true_random=False))
def test_permissions_never_hide_a_record_and_their_order_and_blocks_change_nothing(
    fleet_of, permissions, readings, random
):
    """What fails with permissions is what fails without, cut into more findings at most."""
    fleet = fleet_of([reading(*one) for one in readings])
    with_, without = inspected(fleet, *permissions), inspected(fleet)
    for outcome in ("does not conform", "undecided"):
        assert records_of(with_, outcome) == records_of(without, outcome)
    assert with_.coverage.equals(without.coverage)
    shuffled = inspected(fleet, *random.sample(permissions, len(permissions)), blocks=2)
    assert shuffled.findings.equals(with_.findings)
    assert (
        json_report(Report(shuffled)).split('"permissions"')[0]
        == (json_report(Report(with_)).split('"permissions"')[0])
    )
