"""When an outlet reaches a limit, sought by halving and held against the closed form."""

import math

import numpy as np
import pytest

from qa_engine.breakthrough import film_breakthrough, film_used_fraction
from qa_engine.depletion import Water
from qa_engine.depletion.limit import used_fraction_at


class Film:
    """Shows the inlet times the curve of film control."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        return water.tds_mg_l * film_breakthrough(used_fraction, transfer_units)


def water(*tds_mg_l):
    unknown = np.full(len(tds_mg_l), np.nan)
    return Water(np.array(tds_mg_l), *[unknown] * 6)


def reached(limit, units, *tds_mg_l):
    flow = np.full(len(tds_mg_l), np.nan)
    return used_fraction_at(
        Film(), np.array(limit), water(*tds_mg_l), flow, np.array(units, dtype=float)
    )


@pytest.mark.parametrize("units", [5.0, 20.0, 80.0])
def test_it_is_the_inverse_of_the_curve(units):
    assert reached(20.0, units, 200.0)[0] == pytest.approx(
        film_used_fraction(0.1, units), abs=1e-10
    )


def test_a_limit_above_the_inlet_is_never_reached_and_of_an_unknown_water_nothing_is_known():
    found = reached(100.0, 20.0, 50.0, np.nan, 200.0)
    assert found[0] == np.inf
    assert np.isnan(found[1])
    assert found[2] == pytest.approx(1 + (1 + math.log(0.5)) / 20)


def test_a_bed_that_shows_it_when_fresh_has_nothing_left():
    assert reached(0.0, 20.0, 200.0) == pytest.approx(0.0, abs=1e-10)


def test_shapes_broadcast():
    """Two waters as a column, three sharpnesses as a row."""
    flow = np.full((2, 1), np.nan)
    two = Water(*(np.full((2, 1), n) for n in (200.0, *[np.nan] * 6)))
    assert used_fraction_at(Film(), np.array(20.0), two, flow, np.full(3, 20.0)).shape == (2, 3)
