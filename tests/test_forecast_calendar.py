"""What can be done together: visits, and the work that they are made of."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.forecast.calendar import calendar_of
from qa_engine.forecast.visits import CHANGE_EARLIER, REST_EARLIER, visits_of
from qa_engine.forecast.work import OPENING, RESIN_CHANGE, Work
from qa_engine.inspection import Assignment, inspect

AS_OF = datetime(2026, 3, 2, 6, tzinfo=UTC)
HOUSE = """
rule_set: house
title: House
edition: 2026-01
in_force: {from: 2020-01-01}
owner: standards lead
rules:
  - rule: outlet-limit
    title: Outlet below its limit
    subject: reading
    requires: outlet_tds < stop
    limits: {stop: {is: 20 mg/L, basis: common practice}}
    grading: major
    settled_by: resin_change
    says: The outlet reads {outlet_tds}.
    correction: Change the resin.
    caution: See zero on the gauge first.
    examples: {conforms: [{outlet_tds: 5 mg/L}]}
  - rule: seal-renewed
    title: Head seal renewed
    subject: tank
    requires: head_seal_age <= renewal
    limits: {renewal: {is: 365 d, basis: operator policy}}
    grading: minor
    says: The head seal is {head_seal_age} old.
    correction: Renew the head seal.
    caution: Fit only the seal that the maker names.
    examples: {conforms: [{head_seal_age: 5 d}]}
  - rule: meter-checked
    title: Meter checked
    subject: meter
    requires: meter_check_age <= interval
    limits: {interval: {is: 30 d, basis: operator policy}}
    grading: minor
    says: The meter was checked {meter_check_age} ago.
    correction: Check the meter.
    examples: {conforms: [{meter_check_age: 5 d}]}
  - rule: van-logs
    title: Van logs
    subject: van
    requires: last_record_age <= silence
    limits: {silence: {is: 3 d, basis: operator policy}}
    grading: minor
    says: Nothing was logged for {last_record_age}.
    correction: Log.
    examples: {conforms: [{last_record_age: 1 d}]}
"""


def day(number):
    """A day of March 2026, later ones running on into April."""
    return date(2026, 3, 1) + timedelta(days=number - 1)


def work(by, tank="T1", what="Head seal renewed"):
    return Work("van", "V1", what, day(by), False, tank, "tank", tank, "r", "r", "Do it.", None)


def change(by, tank="T1"):
    return work(by, tank, RESIN_CHANGE)


def days_of(*pieces):
    """The visits as pairs: the day of March, and by which days their work is due."""
    first = day(1)
    return [
        ((visit.day - first).days + 1, sorted((one.by - first).days + 1 for one in visit.work))
        for visit in visits_of(pieces)
    ]


def test_what_falls_due_after_a_resin_change_is_done_with_it():
    assert days_of(change(10), work(30)) == [(10, [10, 30])]


def test_what_falls_due_too_long_after_a_resin_change_has_a_visit_of_its_own():
    """28 days early is the most: the 38th may come forward to the 10th, the 39th may not."""
    assert days_of(change(10), work(38)) == [(10, [10, 38])]
    assert days_of(change(10), work(39)) == [(10, [10]), (39, [39])]


def test_a_resin_change_is_brought_forward_by_a_week_at_most():
    assert days_of(change(17), work(10)) == [(10, [10, 17])]
    assert days_of(change(18), work(10)) == [(10, [10]), (18, [18])]


def test_two_resin_changes_of_a_van_within_a_week_are_one_visit():
    assert days_of(change(12, "T1"), change(10, "T2")) == [(10, [10, 12])]


def test_what_concerns_a_tank_goes_with_the_change_of_its_own_resin():
    """The 20th would be nearer, but on the 10th T1 is opened anyway."""
    pieces = change(10, "T1"), change(20, "T2"), work(25, "T1")
    assert days_of(*pieces) == [(10, [10, 25]), (20, [20])]


def test_what_concerns_no_tank_goes_with_the_last_visit_in_time():
    assert days_of(change(10), change(20, "T2"), work(25, None)) == [(10, [10]), (20, [20, 25])]


PIECES = st.lists(
    st.builds(
        lambda by, tank, change: work(by, tank, RESIN_CHANGE if change else "Head seal renewed"),
        st.integers(2, 90),
        st.sampled_from(["T1", "T2", None]),
        st.booleans(),
    ),
    max_size=10,
)


@settings(deadline=None, max_examples=200)
@given(pieces=PIECES, seed=st.randoms(use_true_random=False))
def test_nothing_is_done_late_or_far_too_early_and_nothing_is_left_out(pieces, seed):
    visits = visits_of(pieces)
    done = [(one, visit.day) for visit in visits for one in visit.work]
    assert sorted(one.order for one, _ in done) == sorted(one.order for one in pieces)
    for one, when in done:
        early = (one.by - when).days
        assert 0 <= early <= (CHANGE_EARLIER if one.is_resin_change else REST_EARLIER)
    shuffled = list(pieces)
    seed.shuffle(shuffled)
    assert [visit.day for visit in visits_of(shuffled)] == [visit.day for visit in visits]


@pytest.fixture
def inspected(fleet_of):
    """Return a function that inspects records by the rules of the house."""

    def of(*records, rules=HOUSE):
        fleet = fleet_of(records, tanks=[{"tank": "T1", "van": "V1"}], vans=[{"van": "V1"}])
        task = Assignment(fleet.past.history.frames, fleet.register, AS_OF)
        return inspect(task, (), lambda host: [("house.yaml", rules.encode())])

    return of


SEAL = {"kind": "seal_service", "tank": "T1", "seal": "head", "replaced": True}
CHECK = {"kind": "meter_check", "meter": "M1", "at": "2026-02-10T06:00:00"}
READ = {"kind": "reading", "tank": "T1", "meter": "M1", "at": "2026-03-01T06:00:00"}
TANK = {"change_by": day(8), "limit_rule": "house/outlet-limit", "litres_left_high": 9.0}


def test_a_calendar_joins_resin_seals_and_meters_of_a_van(forecast_of, inspected):
    """The seal of 10 March 2025 fails on 11 March, the meter of 10 February on 13 March.

    A requirement of 365 days is met on the 365th, at the hour of the inspection; so its last day
    is the one before the first on which it fails. The van's own silence is no work at a visit.
    """
    found = inspected(SEAL | {"at": "2025-03-10T06:00:00"}, CHECK, READ)
    calendar = calendar_of(forecast_of(TANK), found)
    assert calendar.select("place_kind", "place", "date", "work", "by").rows() == [
        ("van", "V1", day(8), RESIN_CHANGE, day(8)),
        ("van", "V1", day(8), "Head seal renewed", day(10)),
        ("van", "V1", day(8), "Meter checked", day(12)),
    ]
    assert calendar["caution"].to_list() == [
        "See zero on the gauge first.",
        "Fit only the seal that the maker names.",
        None,
    ]
    assert calendar.row(0, named=True)["resin_volume"] == 20
    assert not calendar["overdue"].any()


def test_what_is_overdue_is_to_be_done_today_and_comes_first(forecast_of, inspected):
    found = inspected(SEAL | {"at": "2025-01-10T06:00:00"})
    calendar = calendar_of(forecast_of(TANK), found)
    assert calendar.select("work", "date", "overdue").rows() == [
        ("Head seal renewed", day(2), True),
        (RESIN_CHANGE, day(2), False),
    ]


def test_what_lies_beyond_the_days_of_the_forecast_is_left_out(forecast_of, inspected):
    found = inspected(SEAL | {"at": "2025-04-10T06:00:00"})
    beyond = forecast_of({"limit_rule": "house/outlet-limit"}, days=28)
    assert calendar_of(beyond, found).is_empty()
    assert calendar_of(forecast_of({}, days=60), found)["by"].to_list() == [day(41)]


def test_a_resin_change_never_goes_without_a_caution(forecast_of, inspected):
    bare = HOUSE.replace("    caution: See zero on the gauge first.\n", "")
    calendar = calendar_of(forecast_of(TANK), inspected(READ, rules=bare))
    assert calendar["caution"].to_list() == [OPENING]


def test_resin_at_its_limit_is_told_as_overdue(forecast_of, inspected):
    spent = TANK | {"change_by": day(2), "litres_left_high": 0.0}
    calendar = calendar_of(forecast_of(spent), inspected(READ))
    assert calendar.select("work", "overdue").rows() == [(RESIN_CHANGE, True)]


def test_a_tank_in_no_van_is_a_place_of_its_own(forecast_of, inspected):
    calendar = calendar_of(forecast_of(TANK | {"van": None}), inspected(READ))
    assert calendar.select("place_kind", "place").rows() == [("tank", "T1")]
