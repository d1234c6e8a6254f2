"""What is told of a tank's belief, by the standard mixed bed and by a model of round numbers."""

import json
import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from statistics import NormalDist, mean
from zoneinfo import ZoneInfo

import pytest

from qa_engine.belief import told_of
from qa_engine.belief.as_json import belief_json
from qa_engine.belief.as_text import belief_text
from qa_engine.belief.load_parts import load_parts
from qa_engine.breakthrough import film_breakthrough
from qa_engine.depletion import Capacity, Grade, Sharpness
from qa_engine.errors import QAEngineError
from qa_engine.facts.past import Past
from qa_engine.plugins.mixed_bed import MixedBed
from qa_engine.plugins.softening import SofteningBed
from qa_engine.water import load_eq_l

GRADE = Grade(
    name="round numbers",
    bed="mixed bed",
    capacity=Capacity(0.5, 0.1, "invented"),
    lowers_tds=True,
    outlet_after_change_mg_l=1.0,
    least_flow_bv_h=8.0,
    greatest_flow_bv_h=40.0,
    flow_source="invented",
    sharpness=Sharpness(20.0, 0.1, "guessed"),
    ph_low=5.0,
    ph_high=8.0,
    greatest_temperature_deg_c=30.0,
    validity="Water of round numbers.",
)


@dataclass(frozen=True)
class RoundNumbers:
    """Spends 0.00001 eq/L for each mg/L."""

    grade: Grade = GRADE

    def load_eq_l(self, water):
        return water.tds_mg_l * 1e-5

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        units = 20.0 if transfer_units is None else transfer_units
        return water.tds_mg_l * film_breakthrough(used_fraction, units)


BEGIN = datetime(2026, 1, 1, tzinfo=UTC)
MODELS = (RoundNumbers(), MixedBed())
METERS = [{"meter": "M", "accuracy_percent": 2.0, "resolution": 1.0}]
TANKS = [{"tank": "T"}, {"tank": "T-2"}]


def at(hours):
    return (BEGIN + timedelta(hours=hours)).isoformat()


def charge(vehicles, *, grade="round numbers", read=(), **first):
    """10 L of resin, 100 L of 200 mg/L a vehicle: 0.2 eq, 25 vehicles for 5 eq."""
    change = {"change": "emptied and refilled", "grade": grade, "resin_volume": 10.0, **first}
    yield {"kind": "resin_change", "tank": "T", "at": at(0), "record": "C", **change}
    yield {"kind": "reading", "tank": "T", "at": at(0), "inlet_tds": 200.0, "record": "I"}
    for n in range(1, vehicles + 1):
        row = {"tank": "T", "at": at(n)}
        yield {"kind": "rinse", "record": f"R{n}", "water_used": 100.0, "rinses": 1.0, **row}
        if n in read:
            shown = round(200 * float(film_breakthrough(n / 25, 20)))
            more = {"meter": "M", "sampled": "flowing", "outlet_tds": float(shown)}
            yield {"kind": "reading", "record": f"O{n}", **row, **more}


@pytest.fixture
def told(fleet_of):
    """Return what is told of tank T after some records, by models of the tests."""

    def tell(*records, tank="T"):
        fleet = fleet_of(records, models=MODELS, meters=METERS, tanks=TANKS)
        past = Past(fleet.past.history, fleet.models, BEGIN + timedelta(days=30))
        return told_of(past, tank)

    return tell


INLET = {
    "tds_mg_l": 150.0,
    "conductivity_us_cm": 300.0,
    "factor": 0.5,
    "hardness_mg_l": 120.0,
    "alkalinity_mg_l": 100.0,
    "ph": 7.5,
    "silica_mg_l": 12.0,
}


def test_the_parts_of_a_load_are_those_of_the_analysis():
    # Alkalinity 100 / 50.04 = 1.998 meq/L; carbon dioxide 1.998 x 10^(6.352 - 7.5) = 0.1421;
    # silica 12 / 60.08 = 0.1997; what is left are the strong ions.
    load = load_parts(INLET, MixedBed())
    assert 1000 * load.alkalinity == pytest.approx(1.998, abs=0.001)
    assert 1000 * load.co2 == pytest.approx(0.1421, abs=0.0002)
    assert 1000 * load.silica == pytest.approx(0.1997, abs=0.0002)
    whole = load_eq_l(300.0, alkalinity_mg_l=100.0, ph=7.5, silica_mg_l=12.0)
    assert load.total == pytest.approx(float(whole))
    parts = load.ions + load.alkalinity + load.co2 + load.silica
    assert parts == pytest.approx(load.total)
    assert load.unknown == ()


def test_what_was_not_analysed_is_named_and_has_no_part():
    load = load_parts(
        INLET | {"alkalinity_mg_l": None, "ph": None, "silica_mg_l": None}, MixedBed()
    )
    assert (load.alkalinity, load.co2, load.silica) == (None, None, None)
    assert load.ions == load.total == pytest.approx(float(load_eq_l(300.0)))
    assert load.unknown == ("alkalinity", "pH", "silica")


def test_a_model_that_asks_for_no_analysis_gets_no_parts_of_it():
    assert load_parts(INLET, RoundNumbers()).unknown == ()
    # Hardness of 120 / 50.04 = 2.398 meq/L and nothing else.
    load = load_parts(INLET, SofteningBed())
    assert 1000 * load.ions == pytest.approx(2.398, abs=0.001)
    assert (load.alkalinity, load.co2, load.silica) == (None, None, None)


def test_the_load_of_an_unread_inlet_is_not_known():
    assert load_parts(dict.fromkeys(INLET), MixedBed()) is None


def test_a_reading_far_from_the_knee_would_tell_nothing(told):
    now, *later = told(*charge(2)).readings
    assert now.narrower == pytest.approx(0.0, abs=0.001)
    assert now.more_eq == 0.0
    assert max(one.narrower for one in later) > 0.3


def test_the_best_reading_lies_at_the_knee(told):
    # Half of the beds that are held possible lie below the median, so the knee of the blunt end
    # comes first; a reading tells most where most of them have begun to let through.
    best = told(*charge(2)).best
    assert 0.8 < best.used_fraction < 1.1
    assert best.more_eq == pytest.approx(best.used_fraction * 4.903 - 0.4, abs=0.05)


def test_after_a_reading_at_the_knee_there_is_less_to_be_gained(told):
    before = told(*charge(23)).best.narrower
    after = told(*charge(23, read=[23])).best.narrower
    assert after < before / 2


def test_readings_narrow_the_band_by_as_much_as_was_foretold(told):
    """On the mean of 20 beds as they may be: medians of 4.903 eq, scattered by 0.198."""
    fresh = told(*charge(23))
    foretold = fresh.readings[0].narrower
    widths = []
    for n in range(20):
        held_eq = 4.903 * math.exp(0.198 * NormalDist().inv_cdf((n + 0.5) / 20))
        shown = round(200 * float(film_breakthrough(4.6 / held_eq, 20)))
        read = {"meter": "M", "sampled": "flowing", "outlet_tds": float(shown)}
        row = {"kind": "reading", "record": "O", "tank": "T", "at": at(23), **read}
        widths.append(log_width(told(*charge(23), row).account.capacity))
    assert 1 - mean(widths) / log_width(fresh.account.capacity) == pytest.approx(foretold, abs=0.03)


def log_width(belief):
    return math.log(belief.high / belief.low)


def test_bounds_of_the_grade_stand_beside_the_use(told):
    rows = list(charge(2))
    # 5 L/min through 10 L are 30 BV/h; pH 8.5 lies above 8; 31 degC above 30.
    rows[-1] |= {"flow": 5.0}
    rows[1] |= {"source": "tap", "water_temperature": 31.0}
    rows.append({"kind": "water_analysis", "source": "tap", "at": at(-1), "ph": 8.5})
    flow, ph, warmth = told(*rows).bounds
    assert (flow.found, flow.within, flow.record) == (pytest.approx(30.0), True, "R2")
    assert (ph.found, ph.within) == (8.5, False)
    assert (warmth.found, warmth.within, warmth.record) == (31.0, False, "I")


def test_a_bound_exactly_met_is_kept_and_one_not_on_record_is_open(told):
    rows = list(charge(1))
    rows[1] |= {"water_temperature": 30.0}
    flow, ph, warmth = told(*rows).bounds
    assert (flow.within, ph.within, warmth.within) == (None, None, True)
    assert replace(warmth, low=31.0).within is False


@pytest.mark.parametrize(
    ("records", "why"),
    [
        (charge(1, grade="kelp blend"), "no loaded model speaks for its grade, 'kelp blend'"),
        (charge(1, grade=None), "no record says which grade of resin is in it"),
        (charge(1, change=None), "the records do not say when its resin was loaded"),
        ((), "the records do not say when its resin was loaded"),
    ],
)
def test_why_nothing_is_believed_of_a_charge(told, records, why):
    found = told(*records)
    assert found.why_not == why
    assert belief_text(found, ZoneInfo("UTC")) == f"T: nothing is believed of its charge; {why}.\n"
    assert json.loads(belief_json(found)) == {"belief": 1, "tank": "T", "why_not": why}


def test_an_unknown_tank_names_the_nearest(told):
    with pytest.raises(QAEngineError, match="knows a tank 'T-3'; did you mean 'T-2'"):
        told(*charge(1), tank="T-3")
    with pytest.raises(QAEngineError, match="knows a tank 'zebra'; tanks are: T, T-2"):
        told(*charge(1), tank="zebra")


def test_the_text_tells_water_prior_readings_and_what_is_left(told):
    text = belief_text(told(*charge(23, read=[2, 4, 6, 23])), ZoneInfo("UTC"))
    for told_there in (
        "T, charge T@C: 10 L of round numbers",
        "Water: no record names its source",
        "A litre spends 2 meq/L:",
        "Before its readings: 0.49 eq/L",
        "The grade's own: invented.",
        "Sharpness: 20 transfer units; guessed.",
        "3 readings of 0 moved it by less",
        "1 Jan 2026, 23:00",
        "O23",
        "spent 4.6 eq",
        "Water of round numbers.",
        "pH 5 to 8: not on record for this use",
    ):
        assert told_there in text, told_there
    assert all(len(line) <= 100 for line in text.splitlines())


def test_the_text_says_plainly_what_lies_outside(told):
    rows = list(charge(1))
    rows[1] |= {"water_temperature": 31.0}
    text = belief_text(told(*rows), ZoneInfo("UTC"))
    assert "last 31 degC (I), OUTSIDE: the model does not speak for this use" in text
    assert "No reading of flowing outlet water counts on this charge yet." in text


def test_what_is_left_is_not_told_where_a_rinse_is_not_known(told):
    rows = list(charge(2))
    rows[-1] |= {"water_used": None}
    text = belief_text(told(*rows), ZoneInfo("UTC"))
    assert "What it has spent is not known" in text
    assert "left" not in text


def test_earlier_charges_are_named_as_what_the_prior_was_learnt_from(told):
    later = [row | {"at": at(100 + n), "record": f"L{n}"} for n, row in enumerate(charge(1))]
    text = belief_text(told(*charge(23, read=[23]), *later), ZoneInfo("UTC"))
    assert "Learnt from earlier charges of this tank" in text
    assert "T@C." in text
    assert "Before those, the grade's own: invented." in text


def test_the_json_holds_the_numbers_of_the_text(told):
    found = told(*charge(23, read=[23]))
    data = json.loads(belief_json(found))
    assert data["charge"] == "T@C"
    assert data["spent_eq"] == pytest.approx(4.6)
    assert data["load_eq_l"]["total"] == pytest.approx(0.002)
    assert data["capacity_eq_l"]["median"] == found.account.capacity.median
    assert data["readings"][0]["record"] == "O23"
    assert data["readings"][0]["at"] == "2026-01-01T23:00:00Z"
    assert data["readings_to_take"][0]["more_eq"] == 0.0
    assert [bound["within"] for bound in data["bounds"]] == [None, None, None]
