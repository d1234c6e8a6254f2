"""What a guarded finding says: how sure it is, why it is open and what would settle it."""

import json
from datetime import UTC, datetime

import pytest

from qa_engine.inspection import Assignment, inspect
from qa_engine.report import Report
from qa_engine.report.as_json import json_report

EDITION = """
rule_set: house
title: House
edition: 2026-01
in_force: {from: 2020-01-01}
owner: standards lead
rules:
  - rule: outlet-surely-below-house-limit
    title: Outlet surely below the house limit
    subject: reading
    requires: outlet_tds < house_limit
    decision: {acceptance: guarded, confidence: 95 %}
    limits: {house_limit: {is: 10 mg/L, basis: common practice}}
    grading: minor
    says: Outlet read {outlet_tds}, limit {house_limit}.
    correction: Change the resin.
    examples: {}
"""
METER = {
    "meter": "M-1",
    "accuracy_percent": 2.0,
    "accuracy_digits": 1.0,
    "resolution": 1.0,
    "factor": 0.5,
    "compensation": True,
}
DIGIT = "2 % of reading + 1 digit of 1 mg/L"


def reading(outlet, **more):
    told = {"kind": "reading", "record": "R-1", "at": "2026-05-04T08:00", "tank": "T-1"}
    return {**told, "meter": "M-1", "water_temperature": 25.0, "outlet_tds": outlet, **more}


def inspected(fleet, text=EDITION, blocks=None):
    as_of = datetime(2026, 6, 1, tzinfo=UTC)
    task = Assignment(fleet.past.history.frames, fleet.register, as_of, blocks=blocks)
    return inspect(task, (), lambda host: [("house.yaml", text.encode())])


def found(fleet_of, *records, text=EDITION, **meter):
    """Return the findings as the JSON report has them."""
    fleet = fleet_of(records, meters=[{**METER, **meter}])
    return json.loads(json_report(Report(inspected(fleet, text))))["findings"]


def test_an_open_verdict_names_value_uncertainty_probability_and_the_next_measurement(fleet_of):
    """9 with 0.681273: (10 - 9) / 0.681273 = 1.467840, of which the normal says 0.928926."""
    (finding,) = found(fleet_of, reading(9.0))
    assert finding["outcome"] == "undecided"
    assert finding["missing"] == []
    assert finding["message"] == (
        "Too close to call: outlet TDS is 9 mg/L, give or take 0.68 mg/L (standard uncertainty), "
        "and the limit is 10 mg/L. It conforms with a probability of 92.89 %; 95 % is asked for. "
        "To settle it, take 2 readings in all: if their mean is 9 mg/L, it conforms."
    )
    decision = finding["decision"]
    assert (decision["acceptance"], decision["confidence"]) == ("guarded", 0.95)
    uncertainty = decision["uncertainty"]["outlet_tds"]
    assert uncertainty["value"] == pytest.approx(0.681273, rel=1e-6)
    assert uncertainty["unit"] == "mg/L"
    assert uncertainty["from"] == (
        f"meter M-1 in the register: {DIGIT}; no check on record, so taken at its word; "
        "at 25 degC compensated by 2 +/- 0.2 % per degC"
    )
    assert decision["probability"] == 0.928926
    assert decision["next"].startswith("take 2 readings in all")


def test_a_sure_failure_keeps_its_own_message_and_says_how_sure(fleet_of):
    """11.5: half-width 1.23, u 0.710141; 1.5 / 0.710141 = 2.112257 below it: 0.017332."""
    (finding,) = found(fleet_of, reading(11.5))
    assert finding["outcome"] == "does not conform"
    assert finding["message"] == "Outlet read 11.5 mg/L, limit 10 mg/L."
    assert finding["decision"]["probability"] == pytest.approx(0.017332, abs=1e-6)
    assert finding["decision"]["next"] is None


def test_simple_acceptance_says_so(fleet_of):
    text = EDITION.replace("guarded, confidence: 95 %", "simple")
    (finding,) = found(fleet_of, reading(11.5), text=text)
    assert finding["decision"] == {"acceptance": "simple"}


def test_simple_and_guarded_differ_only_between_the_guard_bands(fleet_of):
    """Y +/- 1.644854 (1 + 0.02 y) / sqrt 3 = 10 at y = 8.882 and y = 11.162."""
    shown = [0.0, 8.88, 8.89, 9.9, 10.0, 11.16, 11.17, 30.0]
    records = [reading(tds, record=f"R-{tds}", tank=f"T-{tds}") for tds in shown]
    guarded, simple = (
        {f["subject"]["id"]: f["outcome"] for f in found(fleet_of, *records, text=text)}
        for text in (EDITION, EDITION.replace("guarded, confidence: 95 %", "simple"))
    )
    fails, close = "does not conform", "undecided"
    assert simple == dict.fromkeys(["R-10.0", "R-11.16", "R-11.17", "R-30.0"], fails)
    assert guarded == {
        **dict.fromkeys(["R-8.89", "R-9.9", "R-10.0", "R-11.16"], close),
        **dict.fromkeys(["R-11.17", "R-30.0"], fails),
    }


@pytest.mark.parametrize(
    ("outlet", "meter", "logged", "following"),
    [
        # 10.9: u 0.7032, 10 % likely; needed 0.9 / 1.645 = 0.547 of which 0.315 stays.
        (10.9, {}, {}, "take 2 readings in all: if their mean is 10.9 mg/L, it does not conform"),
        # 8.7: 0.1 / sqrt 3 beside 0.87; at 25 degC u is 0.68, without the log 0.84: 1.3 / 1.645.
        (8.7, {}, {"water_temperature": None}, "read again and log the water temperature"),
        # 9: needed 0.608; with the factor known u is 0.681, and 2 readings bring it to 0.53.
        (9.0, {"factor": None}, {}, "enter the meter's factor in the register, then take 3"),
        # 9.9: needed 0.061, times sqrt 3.
        (9.9, {}, {}, "read with a meter good to 0.11 mg/L"),
        (10.0, {}, {}, "take it as not met: it lies on the limit, and no meter will tell"),
    ],
)
def test_the_cheapest_measurement_that_could_settle_it(fleet_of, outlet, meter, logged, following):
    (finding,) = found(fleet_of, reading(outlet, **logged), **meter)
    assert finding["outcome"] == "undecided"
    assert finding["decision"]["next"].startswith(following)


def test_a_meter_found_off_is_to_be_adjusted_first(fleet_of):
    """9 by a meter of 0.1 % and 1 digit of 0.1, found 20 % off: 1.8 / sqrt 3 is nearly all of u."""
    off = {"kind": "meter_check", "record": "C-1", "at": "2026-05-01T08:00", "meter": "M-1"}
    off |= {"standard_conductivity": 1000.0, "shown_before": 1200.0}
    (finding,) = found(fleet_of, reading(9.0), off, accuracy_percent=0.1, resolution=0.1)
    assert finding["decision"]["next"] == (
        "hold the meter against a standard, adjust it and read again"
    )
    assert finding["evidence"] == ["R-1", "C-1"]


def test_a_reading_without_a_meter_is_open_and_says_why(fleet_of):
    (finding,) = found(fleet_of, reading(9.0, meter=None))
    assert finding["missing"] == ["uncertainty of outlet_tds"]
    assert finding["message"].endswith(
        "How sure outlet TDS is cannot be told: no meter was logged with the reading."
    )
    assert finding["decision"]["probability"] is None


def test_a_reading_that_shows_nothing_lacks_the_reading_not_its_uncertainty(fleet_of):
    (finding,) = found(fleet_of, reading(None))
    assert finding["missing"] == ["outlet_tds"]
    assert "Too close" not in finding["message"]
    assert "How sure" not in finding["message"]


def test_a_tank_is_judged_by_how_sure_its_last_outlet_was(fleet_of):
    text = EDITION.replace("subject: reading", "subject: tank").replace(
        "outlet_tds", "last_outlet_tds"
    )
    (finding,) = found(fleet_of, reading(9.0, sampled="flowing"), text=text)
    assert finding["message"].startswith("Too close to call: last outlet TDS is 9 mg/L")
    assert "last_outlet_tds" in finding["decision"]["uncertainty"]


def test_a_range_is_named_by_both_its_limits(fleet_of):
    text = EDITION.replace("outlet_tds < house_limit", "least <= outlet_tds < house_limit").replace(
        "limits: {", "limits: {least: {is: 8 mg/L, basis: common practice}, "
    )
    (finding,) = found(fleet_of, reading(9.0), text=text)
    assert "and the limit is 8 mg/L or 10 mg/L." in finding["message"]


def test_a_bound_that_is_measured_too_is_named(fleet_of):
    text = EDITION.replace(
        "outlet_tds < house_limit", "outlet_tds < inlet_tds and outlet_tds < house_limit"
    )
    (finding,) = found(fleet_of, reading(5.0, inlet_tds=5.5), text=text)
    assert "the limit is 5.5 mg/L, inlet TDS." in finding["message"]
    assert set(finding["decision"]["uncertainty"]) == {"outlet_tds", "inlet_tds"}


def test_blocks_do_not_change_a_byte(fleet_of):
    records = [
        reading(6 + n / 7, record=f"R-{n}", tank=f"T-{n % 5}", at=f"2026-05-{n + 1:02}T08:00")
        for n in range(28)
    ]
    fleet = fleet_of(records, meters=[METER])
    whole, cut = (json_report(Report(inspected(fleet, blocks=blocks))) for blocks in (1, 5))
    assert whole == cut
    assert whole.count("Too close to call") > 1
