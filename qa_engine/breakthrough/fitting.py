"""What a measured breakthrough says: its stoichiometric throughput, and a curve laid through it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.breakthrough.curves import Curve
from qa_engine.errors import ModelInputError
from qa_engine.water import not_negative
from qa_engine.water.inputs import Floats

LEAST_POINTS = 3
"""Two numbers are fitted, and one point more is needed to tell how well [count]."""

FIRST_UNITS = np.geomspace(1.0, 300.0, 13)
FIRST_REACHES = np.geomspace(0.25, 4.0, 33)
"""Where the search begins: N, and the stoichiometric throughput over the greatest measured one."""

FLAT = 1e-12
"""A parameter that the points do not move by more than this share of the other is not told."""


@dataclass(frozen=True)
class Estimate:
    """A number fitted to data, with the interval that the scatter of the points leaves it."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Fit:
    """A curve laid through the points of a breakthrough.

    Attributes:
        curve: the shape.
        stoichiometric: throughput at a used fraction of 1, in the unit of the data.
        transfer_units: N [1].
        rmse: root of the mean squared distance of the points from the curve [1].
        confidence: that of the intervals [1].
    """

    curve: Curve
    stoichiometric: Estimate
    transfer_units: Estimate
    rmse: float
    confidence: float

    def outlet_fraction(self, throughput: ArrayLike) -> Floats:
        """Return X along the fitted curve."""
        used = np.asarray(throughput, dtype=np.float64) / self.stoichiometric.value
        return self.curve.outlet_fraction(used, self.transfer_units.value)

    def throughput_at(self, outlet_fraction: ArrayLike) -> Floats:
        """Return the throughput at which the fitted curve reaches a leakage."""
        used = self.curve.used_fraction(outlet_fraction, self.transfer_units.value)
        return used * self.stoichiometric.value


def stoichiometric_throughput(throughput: ArrayLike, outlet_fraction: ArrayLike) -> float:
    """Return the area above a measured breakthrough, in the unit of the throughput.

    By trapezoids; before the first point the outlet counts as it was there, after the last one as
    the inlet. It is what would have run through a bed that holds everything until it is full.

    Args:
        throughput: litres, bed volumes or equivalents so far, shape (n,), growing, >= 0.
        outlet_fraction: outlet over inlet, shape (n,) [1], >= 0.

    Raises:
        ModelInputError: the points cannot be used.
    """
    through, outlet = _points(throughput, outlet_fraction)
    through, outlet = np.append(0.0, through), np.append(outlet[0], outlet)
    return float(np.trapezoid(1.0 - outlet, through))


def fit_curve(
    curve: Curve,
    throughput: ArrayLike,
    outlet_fraction: ArrayLike,
    *,
    confidence: float = 0.95,
) -> Fit:
    """Lay a curve through measured points by least squares, with intervals.

    The intervals take the points' distances from the curve for independent scatter of one size;
    where the shape is wrong, neighbours err alike and the intervals are too narrow. They are
    reckoned on logarithms, so that none reaches below zero.

    Args:
        curve: which shape.
        throughput: litres, bed volumes or equivalents so far, shape (n,), growing, >= 0.
        outlet_fraction: outlet over inlet, shape (n,) [1], >= 0. Pairs with NaN are left out.
        confidence: of the intervals [1], between 0 and 1.

    Raises:
        ModelInputError: the points cannot be used, or the outlet never rises.
    """
    from scipy.optimize import least_squares
    from scipy.special import stdtrit

    through, outlet = _points(throughput, outlet_fraction)
    if np.ptp(outlet) == 0.0:
        raise ModelInputError("outlet_fraction is the same throughout; expected it to rise")
    if not 0.0 < confidence < 1.0:
        raise ModelInputError(f"confidence is {confidence}; expected a number between 0 and 1")

    def distances(logs: Floats) -> Floats:
        stoichiometric, units = np.exp(logs)
        return curve.outlet_fraction(through / stoichiometric, units) - outlet

    found = least_squares(distances, _first_guess(curve, through, outlet), xtol=1e-12)
    freedom = len(through) - 2
    scatter = float(np.sum(found.fun**2))
    errors = _standard_errors(found.jac, scatter / freedom)
    reach = float(stdtrit(freedom, 0.5 + confidence / 2.0)) * errors
    capacity, units = (
        Estimate(*map(float, np.exp([log, log - by, log + by])))
        for log, by in zip(found.x, reach, strict=True)
    )
    return Fit(curve, capacity, units, float(np.sqrt(scatter / len(through))), confidence)


def _points(throughput: ArrayLike, outlet_fraction: ArrayLike) -> tuple[Floats, Floats]:
    through = np.atleast_1d(not_negative("throughput", throughput))
    outlet = np.atleast_1d(not_negative("outlet_fraction", outlet_fraction))
    if through.ndim != 1 or through.shape != outlet.shape:
        raise ModelInputError("throughput and outlet_fraction have other shapes; expected (n,)")
    known = np.isfinite(through) & np.isfinite(outlet)
    through, outlet = through[known], outlet[known]
    if len(through) < LEAST_POINTS:
        raise ModelInputError(f"{len(through)} points are known; expected {LEAST_POINTS} or more")
    if np.any(np.diff(through) <= 0.0):
        raise ModelInputError("throughput does not grow from point to point; sort the points")
    return through, outlet


def _first_guess(curve: Curve, through: Floats, outlet: Floats) -> Floats:
    """Return the logarithms of the best pair among some hundreds of evenly spread ones."""
    reaches, units = np.meshgrid(FIRST_REACHES * through[-1], FIRST_UNITS)
    tried = curve.outlet_fraction(through / reaches[..., None], units[..., None])
    best = np.argmin(np.sum((tried - outlet) ** 2, axis=-1))
    return np.log([reaches.flat[best], units.flat[best]])


def _standard_errors(slopes: Floats, variance: float) -> Floats:
    """Return the standard errors of two parameters, infinite where the points do not tell."""
    information = slopes.T @ slopes
    if np.linalg.det(information) <= FLAT * np.trace(information) ** 2:
        return np.full(2, np.inf)
    return np.sqrt(variance * np.diag(np.linalg.inv(information)))
