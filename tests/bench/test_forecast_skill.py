"""The columns of the bench keep the balance, and the engine counts what the bench counts."""

from importlib import import_module
from pathlib import Path

import numpy as np
import pytest

HERE = Path(__file__).parent


@pytest.fixture
def bench(monkeypatch):
    monkeypatch.syspath_prepend(HERE)
    return import_module


def run_dry(bench, capacity_eq, units, inlet_eq_l):
    """Return used fractions and what leaves, over what comes in, of one bed at a steady flow."""
    column = bench("column")
    one = np.ones(1)
    bed = column.Columns.fresh(one * capacity_eq, one * units, one * 5.0)
    litres = capacity_eq / inlet_eq_l / 400
    used, leaves = [], []
    while not used or used[-1] < 1.6:
        inlet = one * inlet_eq_l
        leaves.append(bed.treat(one * litres, inlet, one * 5.0, one * 12.0)[0] / inlet_eq_l)
        used.append(bed.used[0])
    return np.array(used), np.array(leaves), bed


def test_what_comes_in_stays_or_leaves(bench):
    used, leaves, bed = run_dry(bench, 5.0, 18.0, 0.003)
    held = bed.held_eq.sum()
    assert held == pytest.approx(5.0, rel=1e-9)
    assert (used[0] * leaves).sum() == pytest.approx(used[-1] - 1.0, rel=1e-6)


def test_cells_filled_one_by_one_give_the_curve_of_film_control(bench):
    """``exp(N (T - 1) - 1)``, to within what 60 cells can do."""
    used, leaves, _ = run_dry(bench, 5.0, 18.0, 0.003)
    toe = (used > 0.6) & (used < 1.0)
    middle = used[toe] - used[0] / 2
    assert np.log(leaves[toe]) == pytest.approx(18.0 * (middle - 1.0) - 1.0, abs=0.25)


def test_forecasts_run_on_a_small_fleet_and_count_the_same_equivalents(bench):
    """That the engine counts what the bench counts is asserted where cases are asked."""
    skill = bench("forecast_skill")
    figures = skill.forecast_skill(skill.World(tanks=4, charges=3))
    assert len(figures) == 6 * len(skill.SHARES)
