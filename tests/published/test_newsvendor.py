"""The critical ratio against worked examples of a textbook.

G. Cachon, C. Terwiesch, Matching Supply with Demand: An Introduction to Operations Management;
prices, demand and answers as a public companion to the book gives them (github.com/frankhuettner).
"""

import math
from statistics import NormalDist

import numpy as np
import pytest

from qa_engine.forecast.prices import critical_ratio
from qa_engine.forecast.quantiles import day_of_share

PONY = {
    5: 0.0181, 10: 0.0733, 15: 0.1467, 20: 0.1954, 25: 0.1954, 30: 0.1563, 35: 0.1042, 40: 0.0595,
    45: 0.0298, 50: 0.0132, 55: 0.0053, 60: 0.0019, 65: 0.0006, 70: 0.0002, 75: 0.0001,
}  # fmt: skip
"""Thousands of items asked for, and how likely that is."""


def ratio(cost, price, salvage):
    return float(critical_ratio(price - cost, cost - salvage))


def test_wetsuits_ordered_before_the_season():
    """Bought at 110, sold at 190, left over at 90: 80/100, and 4,184 by the book's rounded z."""
    share = ratio(110, 190, 90)
    assert share == pytest.approx(0.80)
    assert NormalDist(3192, 1181).inv_cdf(share) == pytest.approx(4184, abs=3)


def test_books_ordered_once():
    """Bought at 12, sold at 20, sent back for 8: 8/12 of a normal demand of 200 +/- 80."""
    assert round(NormalDist(200, 80).inv_cdf(ratio(12, 20, 8))) == 234


def test_tea_of_which_few_packs_are_asked_for():
    """Bought at 32, sold at 55, left over at 20; a Poisson demand of 4.5 a week: 5 packs."""
    chance = np.cumsum([math.exp(-4.5) * 4.5**n / math.factorial(n) for n in range(30)])
    assert int(np.argmax(chance >= ratio(32, 55, 20))) == 5


def test_figures_counted_among_scenarios_as_the_forecast_does():
    """Bought at 6, sold at 12, left over at 2.50: 6/9.5 of the demand above; 30,000 items."""
    scenarios = np.repeat(list(PONY), [round(10_000 * chance) for chance in PONY.values()])
    ordered = scenarios.reshape(1, -1)
    assert day_of_share(ordered, ratio(6, 12, 2.5)).tolist() == [30]
    assert day_of_share(ordered, 0.9).tolist() == [40]
