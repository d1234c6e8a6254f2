"""Ends of intervals and days of a risk, counted among equally likely scenarios."""

import numpy as np
from numpy.typing import NDArray

from qa_engine.depletion.model import Floats

Places = NDArray[np.int64]

SHARES = (0.1, 0.5, 0.9)
"""The low end, the median and the high end [1]."""

ALREADY = -1
"""The day of a limit that has been reached by now."""

ROUNDING = 1e-9


def ends_of(scenarios: Floats) -> Floats:
    """Return low end, median and high end of each row, shape (rows, 3); NaN where not finite."""
    ordered = np.sort(scenarios, axis=1)
    place = np.array(SHARES) * ordered.shape[1] - 0.5
    before = place.astype(np.intp)
    part = place - before
    with np.errstate(invalid="ignore"):
        found = ordered[:, before] * (1 - part) + ordered[:, before + 1] * part
    return np.where(np.isfinite(found), found, np.nan)


def day_reached(left_eq: Floats, drawn_eq: Floats) -> Places:
    """Return the day on which what is left is used up, shape (tanks, scenarios).

    Args:
        left_eq: what is left now, shape (tanks, scenarios) [eq].
        drawn_eq: what each day takes, shape (tanks, days, scenarios) [eq].

    Returns:
        Places on the axis of days; ``ALREADY`` where nothing is left, and the number of days where
        the last one leaves something.
    """
    total = np.cumsum(drawn_eq, axis=1)
    day = (total < left_eq[:, np.newaxis]).sum(axis=1)
    return np.where(left_eq <= 0, ALREADY, day)


def day_of_share(ordered: Places, share: float) -> Places:
    """Return the first day by which a share of the scenarios is over, shape (tanks,).

    Args:
        ordered: days, ascending in each row.
        share: above 0 and at most 1.
    """
    count = ordered.shape[1]
    place = int(np.ceil(share * count - ROUNDING)) - 1
    return np.asarray(ordered[:, place], np.int64)


def day_of_risk(ordered: Places, risk: Floats) -> Places:
    """Return the last day before which no more than a share of scenarios is over, shape (tanks,).

    Args:
        ordered: days, ascending in each row.
        risk: the share for each tank, at least 0 and below 1.
    """
    count = ordered.shape[1]
    place = np.clip(np.floor(risk * count + ROUNDING), 0, count - 1).astype(np.intp)
    return np.take_along_axis(ordered, place[:, np.newaxis], axis=1)[:, 0]


def share_before(ordered: Places, day: Places) -> Floats:
    """Return the share of scenarios that are over before a day, tank by tank [1]."""
    return np.asarray((ordered < day[:, np.newaxis]).mean(axis=1), np.float64)
