"""How probable a reading of the outlet is, given what the model expects.

A model's curve is never quite right, and a meter is neither. Around what the model expects, the
true outlet scatters in proportion, and the meter adds a scatter of some digits. Both are one
distribution here: outlet plus an offset is log-logistic about what is expected plus the offset.
Far above the offset the scatter is proportional, far below it is the meter's. The distribution
function is a ratio of powers, so the probability of a rounded reading (a 0 is anything below half
a digit) is exact and cheap, and its tails are fatter than the normal ones, which forgives more.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.depletion.model import Floats

SHAPE = 6
"""Sharpness of the log-logistic distribution, a whole number for speed [1]."""

DISCREPANCY = float(np.pi / np.sqrt(3.0) / SHAPE)
"""Standard deviation of the logarithm of outlet over expected outlet, 0.302 [1].

Transfer units follow the flow and the temperature of the moment. The coefficient of the film
changes by 2 to 3 % per degC; a few degrees and a valve opened further make 7 %. In the toe, where
the outlet is 2 % of the inlet and its logarithm -4, that is 0.3. No published source.
"""

SLIPS = 0.01
"""Share of readings that say nothing of the bed: a wrong tank, a slip of the pen. No source [1]."""


@dataclass(frozen=True)
class Shown:
    """Readings of the outlet, all arrays of one shape.

    Attributes:
        outlet_mg_l: as the meter shows it [mg/L].
        step_mg_l: the step of its display, > 0 [mg/L].
        sd_mg_l: standard deviation of what the meter adds, but for rounding [mg/L].
        inlet_mg_l: the most that the outlet may show [mg/L].
    """

    outlet_mg_l: Floats
    step_mg_l: Floats
    sd_mg_l: Floats
    inlet_mg_l: Floats

    @property
    def offset_mg_l(self) -> Floats:
        """Return the offset at which the meter's scatter equals that of the curve [mg/L]."""
        return offset_of(self.sd_mg_l, self.step_mg_l)


def offset_of(sd_mg_l: Floats, step_mg_l: Floats) -> Floats:
    """Return the offset that turns a meter's scatter into a proportional one [mg/L]."""
    return np.asarray(np.maximum(sd_mg_l, step_mg_l / np.sqrt(12.0)) / DISCREPANCY, np.float64)


def log_likelihood(shown: Shown, expected_mg_l: Floats) -> Floats:
    """Return the logarithm of the probability of each reading, rounded as it is.

    Args:
        shown: the readings, shape (readings,).
        expected_mg_l: what the model expects at each point of a grid, shape (readings, points);
            NaN where it cannot tell, and there the reading says nothing.

    Returns:
        An array of the shape of what is expected.
    """
    offset, step, read = (
        a[:, np.newaxis] for a in (shown.offset_mg_l, shown.step_mg_l, shown.outlet_mg_l)
    )
    high = _power(read + step / 2 + offset)
    below = read - step / 2
    low = np.where(below > 0, _power(np.maximum(below, 0.0) + offset), 0.0)
    by_slip = step / (np.maximum(shown.inlet_mg_l[:, np.newaxis], read) + step)
    probable = _between(_power(expected_mg_l + offset), low, high, (1.0 - SLIPS) * (high - low))
    probable += SLIPS * by_slip
    np.log(probable, out=probable)
    return probable if np.isfinite(probable.sum()) else np.nan_to_num(probable, copy=False)


def _between(expected: Floats, low: Floats, high: Floats, factor: Floats) -> Floats:
    """Return ``factor e / ((e + l) (e + h))``, the difference of two ``F(y) = y / (y + e)``.

    ``e``, ``l`` and ``h`` are powers of what is expected and of the bounds of what was read.
    """
    by_high = expected + high
    by_low = expected + low
    by_high *= by_low
    expected *= factor
    expected /= by_high
    return expected


def _power(numbers: Floats) -> Floats:
    """Return the sixth power, which is ``SHAPE``; of an array that nobody needs any more."""
    numbers *= numbers
    fourth = numbers * numbers
    fourth *= numbers
    return fourth


def scatter_factor(probabilities: ArrayLike) -> Floats:
    """Return by what the outlet plus offset exceeds what is expected, for each probability."""
    share = np.asarray(probabilities, np.float64)
    return np.asarray((share / (1.0 - share)) ** (1.0 / SHAPE), np.float64)
