"""Forecasts made in hindsight, on charges of round numbers: 200 mg/L are 0.002 eq/L.

10 L of resin take up 5 eq, a vehicle takes 100 L and so 0.2 eq: 25 vehicles spend a bed. Film
control with N = 20 lets 20 mg/L through at T = 1 + (1 + ln 0.1)/20 = 0.9349, after 23.37 vehicles;
after 23 the outlet shows 200 exp(-2.6) = 14.9, after 24 it shows 200 exp(-1.8) = 33.1.
"""

import json
import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from qa_engine.breakthrough import film_breakthrough
from qa_engine.depletion import Capacity, Grade, Sharpness
from qa_engine.facts.past import Past
from qa_engine.history import History
from qa_engine.records import KINDS
from qa_engine.skill import Cases, check_history, rated_rinses, rinses_left, score_of
from qa_engine.skill.as_json import check_json
from qa_engine.skill.as_text import check_text
from qa_engine.skill.lives import lives_of
from qa_engine.skill.rinses_left import taken_by_a_vehicle
from qa_engine.skill.score import LEAST_CHARGES, SHARES

LIFE = 23 + math.log(20 / 15) / math.log(33 / 15)
"""By the readings on both sides of the limit, which the meter rounds to 15 and 33: 23.365."""


@dataclass(frozen=True)
class RoundNumbers:
    """Spends 0.00001 eq/L for each mg/L."""

    name: str = "round numbers"
    lowers_tds: bool = True

    @property
    def grade(self):
        return Grade(
            name=self.name,
            bed="mixed bed",
            capacity=Capacity(0.5, 0.1, "invented"),
            lowers_tds=self.lowers_tds,
            outlet_after_change_mg_l=1.0,
            least_flow_bv_h=8.0,
            greatest_flow_bv_h=40.0,
            flow_source="invented",
            sharpness=Sharpness(20.0, 0.1, "invented"),
        )

    def load_eq_l(self, water):
        return water.tds_mg_l * 1e-5

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        units = 20.0 if transfer_units is None else transfer_units
        return water.tds_mg_l * film_breakthrough(used_fraction, units)


MODELS = (RoundNumbers(), RoundNumbers("other"), RoundNumbers("softening", lowers_tds=False))
METERS = [{"meter": "M", "accuracy_percent": 2.0, "resolution": 1.0, "factor": 0.5}]
HOUR = timedelta(hours=1)
BEGIN = datetime(2026, 1, 1, tzinfo=UTC)


def charge(tank, vehicles, *, start=0, read_every=1, grade="round numbers", **first):
    """A charge, its rinses, and its outlet read after every so many of them."""
    at = BEGIN + timedelta(days=start)
    row = {"tank": tank, "at": at.isoformat()}
    change = {"change": "emptied and refilled", "grade": grade, "resin_volume": 10.0, **first}
    yield {"kind": "resin_change", "record": f"C-{tank}-{start}", **row, **change}
    yield {"kind": "reading", **row, "inlet_tds": 200.0}
    for number in range(1, vehicles + 1):
        row = {"tank": tank, "at": (at + number * HOUR).isoformat()}
        yield {"kind": "rinse", **row, "water_used": 100.0, "rinses": 1.0}
        if number % read_every == 0:
            shown = round(200 * float(film_breakthrough(number / 25, 20)))
            read = {"meter": "M", "sampled": "flowing", "outlet_tds": float(shown)}
            yield {"kind": "reading", **row, **read, "record": f"O-{tank}-{start}-{number}"}


def run_out(tanks, vehicles=25):
    return [row for n in range(tanks) for row in charge(f"T{n:02}", vehicles)]


@pytest.fixture
def past_of(fleet_of):
    return lambda records: fleet_of(records, models=MODELS, meters=METERS).past


def test_a_life_ends_between_the_readings_around_the_limit(past_of):
    lives = lives_of(past_of(run_out(1)), 20.0)
    assert lives.charges["life"].to_list() == [pytest.approx(LIFE)]
    assert lives.charges["why_not"].to_list() == [None]
    assert lives.readings["done"].to_list() == list(range(1, 24))


def test_a_reading_exactly_at_the_limit_ends_a_life(past_of):
    records = run_out(1, 22)
    records.append(records[-1] | {"record": "X", "outlet_tds": 20.0, "at": "2026-01-03T00:00:00"})
    assert lives_of(past_of(records), 20.0).charges["life"].to_list() == [22.0]


def test_conductivity_counts_by_the_factor_of_the_meter(past_of):
    # 40 uS/cm x 0.5 = 20 mg/L, at the limit.
    records = run_out(1, 22)
    more = {"outlet_tds": None, "outlet_conductivity": 40.0, "at": "2026-01-03T00:00:00"}
    records.append(records[-1] | {"record": "X"} | more)
    assert lives_of(past_of(records), 20.0).charges["life"].to_list() == [22.0]


OVER = {"sampled": "flowing", "outlet_tds": 40.0}


@pytest.mark.parametrize(
    ("why", "records"),
    [
        ("beginning", [*charge("T", 25, change=None)]),
        ("model", [*charge("T", 25, grade="kelp blend")]),
        ("softening", [*charge("T", 25, grade="softening")]),
        ("unread", [*charge("T", 25, read_every=99)]),
        ("changed early", [*charge("T", 20), *charge("T", 0, start=9)]),
        ("in use", [*charge("T", 20)]),
        ("gap", [*charge("T", 32, read_every=16)]),
        (
            "water",
            [
                *charge("T", 25),
                {"kind": "rinse", "tank": "T", "at": "2026-01-01T01:30:00", "rinses": 1.0},
            ],
        ),
        (
            "topped up",
            [
                *charge("T", 25),
                {
                    "kind": "resin_change",
                    "tank": "T",
                    "at": "2026-01-01T05:30:00",
                    "change": "topped up",
                    "resin_volume": 1.0,
                },
            ],
        ),
    ],
)
def test_a_charge_that_does_not_count_is_named_with_the_reason(past_of, why, records):
    found = check_history(past_of(records), 20.0)
    assert found.used == 0
    assert found.left_out[why] == 1
    assert found.charges == sum(found.left_out.values())


def test_a_limit_that_the_model_never_expects_gives_no_forecast(past_of):
    # The outlet of 200 mg/L inlet water is never expected to show 250, and yet here it does.
    records = run_out(1, 22)
    records.append(records[-1] | {"record": "X", "outlet_tds": 260.0})
    assert check_history(past_of(records), 250.0).left_out == {"unforeseen": 1}


def test_what_a_vehicle_takes_is_the_mean_of_the_last_rinses(past_of):
    # 0.2 and 0.6 eq: mean 0.4, standard deviation 0.2, half of it; two vehicles.
    rows = [*charge("T", 1)]
    more = {"tank": "T", "at": "2026-01-02T00:00:00", "water_used": 300.0, "rinses": 1.0}
    past = past_of([*rows, {"kind": "rinse", **more}])
    at = pl.Series([datetime(2026, 1, 3, tzinfo=UTC)], dtype=pl.Datetime("us", "UTC"))
    found = taken_by_a_vehicle(pl.DataFrame({"tank": ["T"], "at": at}), past)
    assert found.row(0) == pytest.approx((0.4, 0.5, 2.0))


FIELDS = {
    kind: [name for name in KINDS[kind].fields if name != "kind"]
    for kind in ("resin_change", "reading", "rinse")
}


def asked(tank, hours):
    at = pl.Series([BEGIN + hours * HOUR], dtype=pl.Datetime("us", "UTC"))
    return pl.DataFrame({"tank": [tank], "at": at})


def test_a_fresh_charge_is_forecast_from_what_its_grade_declares(past_of):
    # Lognormal: median 0.5 / sqrt(1.04) = 0.4903 eq/L, so 4.903 eq; 0.9349 of them over 0.2 eq a
    # vehicle, less the one that was rinsed: 21.9. All vehicles are alike and add no scatter; the
    # transfer units, known to a tenth, hardly move the median.
    low, median, high = rinses_left(asked("T", 1), past_of([*charge("T", 1)]), 20.0)[0]
    assert median == pytest.approx(0.9349 * 4.903 / 0.2 - 1, rel=0.01)
    # sd of the logarithm 0.198: ends at 0.9349 x 3.804 / 0.2 - 1 = 16.8 and 28.5.
    assert (low, high) == pytest.approx((16.8, 28.5), rel=0.03)


def test_vehicles_that_differ_widen_the_forecast(past_of):
    def width(litres):
        rows = [*charge("T", 2)]
        rinses = [row for row in rows if row["kind"] == "rinse"]
        for row, used in zip(rinses, litres, strict=True):
            row["water_used"] = used
        low, _, high = rinses_left(asked("T", 2), past_of(rows), 20.0)[0]
        return high - low

    assert width((20.0, 180.0)) > 1.5 * width((100.0, 100.0))


def test_nothing_is_forecast_where_nothing_is_known(past_of):
    past = past_of([*charge("T", 1), *charge("U", 1, grade="kelp blend")])
    assert np.isnan(rinses_left(asked("U", 1), past, 20.0)).all()
    assert np.isnan(rinses_left(asked("V", 1), past, 20.0)).all()
    # Of an inlet of 200 mg/L the outlet never reads 300.
    assert np.isnan(rinses_left(asked("T", 1), past, 300.0)).all()


def test_scores_by_hand():
    # Left: 10, 20, 30 of lives of 40. Medians off by 2, 4, 10: 5, 10, 25 %; median 10 %. The
    # intervals hold 10 and 20, not 30. Rated 44: 14, 24, 34 left, each 4 too many: 10 %.
    cases = Cases(
        done=np.array([30.0, 20.0, 10.0]),
        life=np.array([40.0, 40.0, 40.0]),
        forecast=np.array([[8.0, 12.0, 14.0], [20.0, 24.0, 25.0], [15.0, 20.0, 29.0]]),
        rated=np.full(3, 44.0),
    )
    score = score_of(cases)
    assert (score.charges, score.within) == (3, 2)
    assert score.error == pytest.approx(0.10)
    assert score.by_rule == pytest.approx(0.10)
    assert score.coverage == pytest.approx(2 / 3)
    assert score.lower == pytest.approx(0.0, abs=1e-12)


def test_the_rule_of_thumb_rates_a_charge_at_the_median_life():
    life, resin = np.array([10.0, 30.0, 80.0]), np.array([10.0, 10.0, 20.0])
    assert rated_rinses(life).tolist() == [30.0, 30.0, 30.0]
    # 1, 3 and 4 a litre: the median is 3.
    assert rated_rinses(life, resin).tolist() == [30.0, 30.0, 60.0]


def test_a_rule_of_thumb_leaves_no_less_than_nothing():
    cases = Cases(
        np.array([30.0]), np.array([40.0]), np.array([[9.0, 10.0, 11.0]]), np.array([20.0])
    )
    assert score_of(cases).by_rule == pytest.approx(10 / 40)


def test_a_history_is_scored_at_the_readings_nearest_to_the_shares(past_of):
    found = check_history(past_of(run_out(LEAST_CHARGES)), 20.0)
    assert (found.charges, found.used, found.left_out) == (10, 10, {})
    assert [(row.grade, row.share, row.charges) for row in found.rows] == [
        ("round numbers", share, 10) for share in SHARES
    ]
    # All live alike, so that the rule of thumb is right and ours is off by what the grade's median
    # is off: at 6 vehicles (25 % of 23.4) it expects 0.9349 x 4.903 / 0.2 = 22.92.
    quarter = found.rows[0].score
    assert quarter.by_rule == pytest.approx(0.0, abs=1e-12)
    assert quarter.error == pytest.approx((LIFE - 22.92) / LIFE, abs=0.005)
    assert quarter.within == 10


def test_each_grade_is_scored_by_itself_and_then_all(past_of):
    others = [row for n in range(10) for row in charge(f"U{n}", 25, grade="other")]
    rows = check_history(past_of([*run_out(10), *others]), 20.0).rows
    assert [row.grade for row in rows[:: len(SHARES)]] == ["other", "round numbers", None]
    assert rows[-1].charges == 20


def test_too_few_charges_give_no_figure(past_of):
    found = check_history(past_of(run_out(LEAST_CHARGES - 1)), 20.0)
    assert found.used == 9
    assert all(row.score is None for row in found.rows)
    text = check_text(found, ZoneInfo("UTC"))
    assert "Too few to give a figure: that takes 10 charges or more." in text
    assert "%" not in text


def test_a_forecast_of_the_past_is_the_one_that_would_have_been_made_then(past_of):
    """Against records that end at the moment of each forecast."""
    records = [row for n in range(3) for row in charge("T", 25, start=9 * n)]
    whole = past_of(records)
    readings = lives_of(whole, 20.0).readings
    then = readings.filter(pl.col("done").is_in([6.0, 12.0, 18.0, 21.0, 23.0]))
    assert then.height == 15
    found = rinses_left(then.select("tank", "at"), whole, 20.0)
    for row, forecast in zip(then.iter_rows(named=True), found, strict=True):
        frames = {
            kind: whole.history.of(kind, *FIELDS[kind]).filter(pl.col("at") <= row["at"])
            for kind in FIELDS
        }
        past = Past(History.of_records(frames, whole.register), whole.models, row["at"])
        subject = then.filter(pl.col("record") == row["record"]).select("tank", "at")
        np.testing.assert_allclose(rinses_left(subject, past, 20.0)[0], forecast, rtol=1e-12)


def test_the_text_says_how_often_the_interval_held_and_what_was_left_out(past_of):
    records = [*run_out(10), *charge("X", 20), *charge("X", 3, start=9)]
    text = check_text(check_history(past_of(records), 20.0), ZoneInfo("UTC"))
    assert "12 charges on record, 10 scored" in text
    assert "1 left out: changed before the outlet reached the limit" in text
    assert "1 left out: still in use, the outlet below the limit" in text
    assert "10 of 10, 100%" in text


def test_many_charges_changed_in_time_are_said_to_make_the_rest_look_worse(past_of):
    early = [row for n in range(11) for row in (*charge(f"X{n}", 9), *charge(f"X{n}", 1, start=9))]
    text = check_text(check_history(past_of([*run_out(10), *early]), 20.0), ZoneInfo("UTC"))
    assert "Most charges here were changed in time." in text


def test_the_json_has_the_same_figures(past_of):
    found = check_history(past_of(run_out(10)), 20.0)
    told = json.loads(check_json(found))
    assert told["limit"] == {"value": 20.0, "unit": "mg/L"}
    assert told["rows"][0]["median_error"] == found.rows[0].score.error
    assert told["rows"][0]["lower_by"] is None or told["rows"][0]["lower_by"] < 0
    few = json.loads(check_json(check_history(past_of(run_out(2)), 20.0)))
    assert few["rows"][0] | {"share_of_life": 0} == {
        "grade": "round numbers",
        "share_of_life": 0,
        "charges": 2,
        **dict.fromkeys(
            (
                "median_error",
                "within_interval",
                "coverage",
                "median_error_by_rule_of_thumb",
                "lower_by",
            )
        ),
    }
