"""What follows from a forecast, as a person reads it: booked jobs, resin to have, visits."""

import json
from datetime import date
from io import StringIO

import polars as pl
import pytest
from click.testing import CliRunner
from rich.console import Console, Group

from qa_engine.cli.program import program
from qa_engine.forecast.calendar import CALENDAR
from qa_engine.forecast.jobs import JOBS, bookings_of
from qa_engine.forecast.stock import stock_of
from qa_engine.forecast.work import OPENING
from qa_engine.report.plan import Plan
from qa_engine.report.plan_as_csv import TABLES, plan_csv
from qa_engine.report.plan_as_json import plan_json
from qa_engine.report.plan_jobs import decisive_days
from qa_engine.report.plan_sections import follow_up
from qa_engine.report.plan_stock import shown_weeks

DAY = date(2026, 3, 3)
LEFT = {"litres_left_low": 110.0, "litres_left_median": 130.0}
VISIT = {
    "place_kind": "van",
    "place": "V1",
    "date": DAY,
    "subject_kind": "tank",
    "subject": "T1",
    "tank": "T1",
    "overdue": False,
    "correction": "Do it.",
}


@pytest.fixture
def plan(forecast_of, fleet_of):
    """Return the maker of plans: tanks with their scenarios, booked jobs, pieces of work."""

    def of(*tanks, jobs=None, calendar=(), level=0.9):
        forecast = forecast_of(*tanks)
        register = fleet_of([], tanks=[]).register
        booked = None if jobs is None else bookings_of(forecast, jobs, register, 0.1)
        work = pl.DataFrame([VISIT | one for one in calendar], schema=CALENDAR)
        return Plan("Invented", forecast, stock_of(forecast, level), work, booked)

    return of


def booked(*rows):
    """Return booked jobs given as day of March, van, count and litres."""
    return pl.DataFrame(
        [
            {
                "date": date(2026, 3, day),
                "van": van,
                "vehicle_class": "car",
                "count": float(count),
                "job": None,
                "litres": float(litres),
            }
            for day, van, count, litres in rows
        ],
        schema_overrides={"job": pl.String, "date": pl.Date},
    )


def text(plan):
    """Return the sections as lines, each paragraph on one of them and its spaces single."""
    out = StringIO()
    Console(file=out, width=400, no_color=True).print(Group(*follow_up(plan)), highlight=False)
    return [" ".join(line.split()) for line in out.getvalue().splitlines()]


def test_a_van_at_risk_is_shown_on_its_first_day_at_risk_and_others_on_their_last(plan):
    """0.4 eq a job: V1 has 1 eq, so that its third job is too much; V2 has 9 eq."""
    shown = plan(
        {"tank": "T1", "left": 1.0, **LEFT},
        {"tank": "T2", "van": "V2", "left": 9.0, **LEFT},
        jobs=booked(*((day, van, 3, 100) for day in (3, 4, 5, 6) for van in ("V1", "V2"))),
    )
    days = decisive_days(shown.bookings.jobs)
    assert days.select("date", "van").rows() == [(date(2026, 3, 5), "V1"), (date(2026, 3, 6), "V2")]
    lines = text(shown)
    assert "Thu 5 Mar 2026 V1 3 car T1 300 110 130 0 %, at risk" in lines
    assert "Fri 6 Mar 2026 V2 3 car T2 400 110 130 100 %" in lines
    assert (
        "- Before 5 Mar 2026 change the resin of T1 (20 L of standard mixed bed); van V1 then "
        "gets through that day with 100 %." in lines
    )


def test_a_day_too_long_for_any_charge_says_to_take_resin_along(plan):
    lines = text(plan({}, jobs=booked((3, "V1", 9, 1_500))))
    assert (
        "- Before 3 Mar 2026 change the resin of T1 (20 L of standard mixed bed), and take as much "
        "along: even so van V1 gets through that day with 0 % only. Read the outlet between the "
        "jobs." in lines
    )


def test_a_change_is_told_with_its_caution(plan):
    lines = text(plan({}, jobs=booked((3, "V1", 9, 1_500))))
    assert f"Caution: {OPENING}" in lines
    assert f"Caution: {OPENING}" not in text(plan({}, jobs=booked((3, "V1", 1, 1))))


def test_a_chance_short_of_certainty_never_reads_as_certain(plan):
    """299 of 300 scenarios hold: 99.67 % are told as 99 %."""
    lines = text(plan({"left": [0.1] + [9.0] * 299, **LEFT}, jobs=booked((3, "V1", 1, 100))))
    assert "Tue 3 Mar 2026 V1 1 car T1 100 110 130 99 %" in lines


def test_a_van_of_which_nothing_can_be_said_has_its_reason(plan):
    unknown = {"tank": "T1", "why_not": "no model", "left": float("nan")}
    lines = text(plan(unknown, jobs=booked((3, "V1", 1, 100), (3, "V7", 1, 100))))
    assert "Tue 3 Mar 2026 V7 1 car - - - - not known" in lines
    assert (
        "- Of van V1 nothing can be said, because of T1: no loaded model speaks for its grade of "
        "resin." in lines
    )
    assert (
        "- Of van V7 nothing can be said: no record and no register row says which tank stands in "
        "it." in lines
    )


def test_a_list_that_lies_in_the_past_says_so(plan):
    lines = text(plan({}, jobs=booked((1, "V1", 1, 100))))
    assert "No job of the list lies ahead." in lines
    assert "- One job of the list lies before today; not used." in lines


def test_without_a_list_nothing_is_said_of_jobs(plan):
    assert "Booked jobs" not in text(plan({}))


def test_resin_is_shown_with_its_mean_and_what_comes_on_top(plan):
    """20 L are needed in one of two scenarios: the mean is 10 L, and 20 L suffice with 90 %."""
    half = {"left": [0.0, 99.0], "fresh": 99.0}
    lines = text(plan(half, {"tank": "T2", "why_not": "no model", "left": float("nan")}))
    assert "base grade tanks to 9 Mar to 16 Mar to 23 Mar to 30 Mar" in lines
    assert "north standard mixed bed 1 20 (10) 20 (10) 20 (10) 20 (10)" in lines
    assert "Comes on top: T2, since no loaded model speaks for its grade of resin." in lines


def test_of_many_weeks_the_first_ones_and_the_last_are_shown(forecast_of):
    weeks = stock_of(forecast_of({}, days=70), 0.9).weeks
    ends = shown_weeks(weeks)
    assert [str(end) for end in (*ends[:2], ends[-1])] == ["2026-03-09", "2026-03-16", "2026-05-11"]
    assert len(ends) == 6


def test_a_visit_is_told_once_with_its_work_and_each_of_its_cautions_once(plan):
    mind = "See zero on the gauge."
    change = {"work": "Resin change", "by": DAY, "grade": "fine (invented)", "resin_volume": 20.0}
    seal = {"work": "Head seal renewed", "by": date(2026, 3, 9), "caution": mind}
    late = {"work": "Vessel service", "by": DAY, "overdue": True, "caution": "Ask a person."}
    lines = text(plan({}, calendar=[late, change | {"caution": mind}, seal]))
    assert lines[lines.index("Tue 3 Mar 2026 Van V1") + 1 :] == [
        "- T1: Vessel service (not met now)",
        "Do it.",
        "- T1: Resin change, 20 L of fine (invented)",
        "- T1: Head seal renewed (in time until 9 Mar 2026)",
        "Do it.",
        "Caution: Ask a person.",
        "Caution: See zero on the gauge.",
    ]


ROWS = {"tanks": 1, "rinses": 0, "jobs": 1, "changes": 1, "stock": 4, "calendar": 1}
"""How many rows each table has for one tank, one job too large for it, four weeks, one visit."""


FIRST_COLUMNS = {
    "tanks": "tank,van,base,",
    "rinses": "tank,vehicle_class,",
    "jobs": "date,van,job,",
    "changes": "van,tank,before,",
    "stock": "base,grade,until,",
    "calendar": "place_kind,place,date,",
}


@pytest.mark.parametrize("table", TABLES)
def test_every_table_goes_to_csv(plan, table):
    whole = plan({}, jobs=booked((3, "V1", 1, 1_500)), calendar=[{"by": DAY}])
    head, *rows = plan_csv(whole, table).splitlines()
    assert head.startswith(FIRST_COLUMNS[table])
    assert len(rows) == ROWS[table]


def test_the_tables_of_jobs_have_their_heads_without_a_list(plan):
    assert plan_csv(plan({}), "jobs").splitlines() == [",".join(JOBS)]


def test_json_tells_the_same_of_jobs_resin_and_visits(plan):
    whole = plan({}, jobs=booked((1, "V1", 1, 1), (3, "V1", 1, 100)), calendar=[{"by": DAY}])
    told = json.loads(plan_json(whole))
    assert (told["jobs_risk"], told["jobs_before_today"]) == (0.1, 1)
    assert told["jobs"][0]["gets_through"] == 1
    assert [row["until"] for row in told["stock"]] == [
        "2026-03-09",
        "2026-03-16",
        "2026-03-23",
        "2026-03-30",
    ]
    assert told["calendar"][0]["date"] == "2026-03-03"


def test_a_wrong_list_of_jobs_stops_the_call_before_any_record_is_read(tmp_path):
    register, jobs = tmp_path / "register.yaml", tmp_path / "jobs.csv"
    register.write_text("operator: {name: Invented, time_zone: Etc/UTC}\nvans: [{van: V1}]\n")
    jobs.write_text("date,van,vehicle_class,count\n2026-03-03,V1,car,1\n")
    call = ["forecast", "no-such-file.csv", "--register", str(register), "--jobs", str(jobs)]
    answer = CliRunner().invoke(program, call)
    assert answer.exit_code == 2
    assert answer.stderr == (
        f"{jobs}:2: vehicle_class 'car' is not in the register; expected an id of "
        "vehicle_classes, or add a row there\n"
    )


def test_a_table_is_asked_for_only_with_csv(tmp_path):
    call = ["forecast", "records.csv", "--register", str(tmp_path), "--table", "jobs"]
    answer = CliRunner().invoke(program, call)
    assert answer.exit_code == 2
    assert "--table goes with --format csv, not with text" in answer.stderr
