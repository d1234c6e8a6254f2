"""What settles the failures of shipped rules: the record that counts, and no weaker one."""

import json
from datetime import UTC, datetime

import polars as pl
import pytest

from qa_engine.cli.rule_files import offered
from qa_engine.inspection import Assignment, inspect
from qa_engine.lifecycle import earlier_report
from qa_engine.plugin_host import installed_plugins
from qa_engine.report import Report
from qa_engine.report.as_json import json_report

AS_OF = datetime(2026, 6, 1, tzinfo=UTC)
TANK = {"tank": "T-1", "rated_pressure": 600.0, "rated_temperature": 40.0}

LOOK = {"kind": "vessel_service", "service": "visual", "result": "fit"}
LOOK |= {"authority": "operator policy"}
EXAMINED = {"kind": "vessel_service", "service": "periodic", "result": "fit"}
EXAMINED |= {"authority": "written scheme", "competent_person": "CP-1"}


def on(day, record, **stated):
    return {"at": f"2026-05-{day:02}T08:00", "tank": "T-1", "record": record, **stated}


def finding(fleet_of, rule, *records):
    """Return the only failure of a shipped rule: whether it stands, when it closed and by what."""
    fleet = fleet_of(records, tanks=[TANK])
    task = Assignment(fleet.past.history.frames, fleet.register, AS_OF)
    told = json.loads(json_report(Report(inspect(task, installed_plugins(), offered))))
    (one,) = [f for f in told["findings"] if f["rule"] == rule and f["correction"]]
    return one["stands"], (one["closed_at"] or "")[:10], one["closed_by"]


OPEN = (True, "", [])
DROPPED = on(1, "I-1", kind="incident", incident="drop")


@pytest.mark.parametrize(
    ("after", "told"),
    [
        ([], OPEN),
        ([on(20, "V-1", **LOOK)], OPEN),
        ([on(20, "V-1", **LOOK, competent_person="CP-1")], OPEN),
        ([on(20, "V-1", **{**EXAMINED, "result": "unfit"})], OPEN),
        ([on(20, "V-1", **{**EXAMINED, "competent_person": None})], OPEN),
        ([on(20, "V-1", **EXAMINED)], (False, "2026-05-20", ["V-1"])),
        ([on(18, "V-1", **LOOK), on(20, "V-2", **EXAMINED)], (False, "2026-05-20", ["V-2"])),
    ],
)
def test_an_incident_closes_at_the_examination_that_counts_and_not_at_a_look(fleet_of, after, told):
    assert finding(fleet_of, "incident-followed-by-examination", DROPPED, *after) == told


def test_an_incident_of_an_earlier_report_is_closed_by_the_examination_since(fleet_of):
    fleet = fleet_of([DROPPED, on(18, "V-1", **LOOK), on(20, "V-2", **EXAMINED)], tanks=[TANK])
    frames = fleet.past.history.frames
    closed = {}
    for day in (19, 21):
        before = Assignment(frames, fleet.register, datetime(2026, 5, 16, tzinfo=UTC))
        text = json_report(Report(inspect(before, installed_plugins(), offered)))
        earlier = earlier_report("earlier.json", text.encode())
        task = Assignment(
            frames, fleet.register, datetime(2026, 5, day, tzinfo=UTC), earlier=earlier
        )
        changes = inspect(task, installed_plugins(), offered).changes
        mine = changes.frame.filter(pl.col("rule") == "incident-followed-by-examination")
        closed[day] = mine.select("state", "closed_by").row(0)
    assert closed == {19: ("still open", None), 21: ("closed", ["V-2"])}


@pytest.mark.parametrize(
    ("rule", "record"),
    [
        ("static-pressure-within-plate", {"kind": "rinse", "static_pressure": 650.0}),
        ("flowing-pressure-within-plate", {"kind": "rinse", "inlet_pressure": 650.0}),
        ("water-temperature-within-plate", {"kind": "reading", "water_temperature": 50.0}),
    ],
)
def test_what_overran_the_plate_stands_until_somebody_competent_found_the_vessel_fit(
    fleet_of, rule, record
):
    failed, look = on(1, "R-1", **record), on(2, "V-1", **LOOK)
    good = {name: 10.0 if isinstance(value, float) else value for name, value in record.items()}
    later, seen = on(3, "R-2", **good), on(4, "V-2", **EXAMINED)
    assert finding(fleet_of, rule, failed, look, later) == OPEN
    assert finding(fleet_of, rule, failed, look, later, seen) == (False, "2026-05-04", ["V-2"])


def seal(day, record, **stated):
    return on(day, record, kind="seal_service", seal="head", **stated)


def test_a_leak_closes_at_a_new_seal_and_not_at_a_little_grease(fleet_of):
    leaks = on(1, "C-1", kind="resin_change", change="emptied and refilled", leak_seen="head")
    greased = seal(2, "S-1", lubricant="silicone", replaced=False)
    renewed = seal(3, "S-2", lubricant="silicone", replaced=True)
    rule = "no-leak-after-closing"
    assert finding(fleet_of, rule, leaks, greased) == OPEN
    assert finding(fleet_of, rule, leaks, greased, renewed) == (False, "2026-05-03", ["S-2"])


@pytest.mark.parametrize(
    ("rule", "stated"),
    [
        ("no-petroleum-on-water-side-seals", {"lubricant": "petroleum"}),
        (
            "no-silicone-grease-on-silicone-rubber",
            {"lubricant": "silicone", "seal_material": "VMQ"},
        ),
    ],
)
def test_a_harmed_seal_closes_only_at_a_new_one_that_is_not_harmed_again(fleet_of, rule, stated):
    wrong = seal(1, "S-1", **stated)
    wiped = seal(2, "S-2", lubricant="none", replaced=False)
    again = seal(3, "S-3", replaced=True, **stated)
    right = seal(4, "S-4", lubricant="none", seal_material="EPDM", replaced=True)
    assert finding(fleet_of, rule, wrong, wiped) == OPEN
    assert finding(fleet_of, rule, wrong, again) == OPEN
    assert finding(fleet_of, rule, wrong, wiped, right) == (False, "2026-05-04", ["S-4"])


def test_an_examination_on_house_policy_closes_at_one_that_rests_on_more(fleet_of):
    own = on(1, "V-1", **{**EXAMINED, "authority": "operator policy"})
    rule = "examination-rests-on-more-than-operator-policy"
    assert finding(fleet_of, rule, own, on(2, "V-2", **LOOK)) == OPEN
    assert finding(fleet_of, rule, own, on(3, "V-3", **EXAMINED)) == (False, "2026-05-03", ["V-3"])
