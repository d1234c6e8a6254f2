"""Worked examples of throughput and flow from textbooks and the trade press."""

import pytest

from qa_engine.units import conversion
from qa_engine.water import flow_bv_h, throughput_l, velocity_m_h

DAVIS_8_3 = {"capacity_eq_l": 457.0, "resin_l": 1.0, "load_eq_l": 6.572e-3}  # 4.57e5 meq in all
DAVIS_8_3_FLOW_L_H = 208_500 / 24


def test_q02_davis_example_8_1():
    """Source: Davis (2010) p. 8-9: 1000 meq/L over 1.4 meq/L = 714.29 L of water per L of resin."""
    assert throughput_l(1.0, 1.0, 0.0014) == pytest.approx(714.29, abs=0.01)


def test_q03_davis_example_8_3_exhausts_in_8_hours():
    """Source: Davis (2010) p. 8-20. 457 / 0.006572 = 69 537 L; over 8687.5 L/h = 8.004 h."""
    hours = throughput_l(**DAVIS_8_3) / DAVIS_8_3_FLOW_L_H
    assert hours == pytest.approx(8.004, abs=0.001)
    assert round(float(hours)) == 8


def test_q04_davis_example_8_3_breaks_through_at_67_percent():
    """Source: Davis (2010) p. 8-20. 0.67 x 8.004 = 5.363 h, printed as 5.4."""
    hours = throughput_l(**DAVIS_8_3, usable_fraction=0.67) / DAVIS_8_3_FLOW_L_H
    assert hours == pytest.approx(5.363, abs=0.001)
    assert round(float(hours), 1) == 5.4


def test_q05_water_treated_in_problem_16_4():
    """Inputs: Sincero & Sincero, Physical-Chemical Treatment of Water and Wastewater, ch. 16.

    51.02 kg / 720 kg/m3 = 70.861 L; x 1.4128 eq/L = 100.11 eq; / 0.008 eq/L = 12 514 L.
    """
    litres = throughput_l(1.4128, 1000 * 51.02 / 720, 0.008)
    assert litres / 1000 == pytest.approx(12.514, rel=1e-4)


def test_q10_grains_over_grains_per_gallon():
    """Trade-journal arithmetic (tom-tool.com, no. 833): 24 000 gr / 20 gr/gal = 1200 US gal."""
    capacity_eq_l = 24 / conversion("eq/L", "kgr/ft3 as CaCO3").factor
    load_eq_l = 20 / conversion("eq/L", "gr/gal as CaCO3").factor
    litres = throughput_l(capacity_eq_l, conversion("ft3", "L").factor, load_eq_l)
    assert litres * conversion("L", "gal").factor == pytest.approx(1200, rel=1e-9)


def test_davis_example_8_4_velocity_in_the_bed():
    """Source: Davis (2010) p. 8-21: 275 m3/d through a bore of 0.93 m, for 408 m3/d per m2.

    The bore is rounded from 0.926 m, hence 1 %. 408 / 24 = 17 m/h.
    """
    assert velocity_m_h(275_000 / 1440, 930) == pytest.approx(17.0, rel=0.01)


def test_davis_problem_8_2_specific_flow():
    """Data: Davis (2010) p. 8-26: 0.25 m3/h through 10 x 150 cm, 11.781 L; 250/11.781 = 21.22."""
    assert flow_bv_h(250 / 60, 11.781) == pytest.approx(21.22, abs=0.005)


def test_a_cubic_foot_in_a_bore_of_20_cm_at_10_litres_a_minute():
    """600/28.317 = 21.19 BV/h; 0.6 m3/h over 0.0314159 m2 = 19.10 m/h = 7.81 gpm/ft2."""
    assert flow_bv_h(10, 28.317) == pytest.approx(21.19, abs=0.005)
    velocity = velocity_m_h(10, 200)
    assert velocity == pytest.approx(19.10, abs=0.005)
    assert velocity * conversion("m/h", "gpm/ft2").factor == pytest.approx(7.81, abs=0.005)
