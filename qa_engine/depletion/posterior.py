"""Bayes' rule on a grid: what is believed of a number before and after evidence.

A grid holds the points that a number may take, evenly spaced; weights say how probable each is.
Nothing is assumed of the shape of a prior or of a likelihood, so that one function serves readings
with noise, rounded readings and runs that were broken off before the end.
"""

from collections.abc import Sequence

import numpy as np

from qa_engine.depletion.model import Floats
from qa_engine.errors import ModelInputError


def learn(prior: Floats, log_likelihood: Floats) -> Floats:
    """Return the weights after evidence: prior times likelihood, summing up to 1.

    Args:
        prior: weights of the points, shape (..., points), >= 0, of any sum above 0.
        log_likelihood: natural logarithm of how probable the evidence is at each point, up to a
            constant, broadcast to the prior; minus infinity where it is impossible.

    Raises:
        ModelInputError: the evidence is impossible wherever the prior is not 0.
    """
    most = np.max(log_likelihood, axis=-1, keepdims=True)
    with np.errstate(invalid="ignore", over="ignore"):
        weights: Floats = log_likelihood - most
        np.exp(weights, out=weights)
    weights *= prior
    total = weights.sum(axis=-1, keepdims=True)
    if not (total > 0).all():
        raise ModelInputError("the evidence is impossible at every point that the prior allows")
    weights /= total
    return weights


def moments(weights: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Return the mean and the standard deviation of numbers with these weights.

    Args:
        weights: shape (..., points), summing up to 1.
        points: the points, shape (points,).
    """
    mean = (weights * points).sum(axis=-1)
    return mean, np.sqrt((weights * (points - mean[..., np.newaxis]) ** 2).sum(axis=-1))


def quantiles(weights: Floats, points: Floats, probabilities: Sequence[float]) -> Floats:
    """Return the numbers below which a share of the weight lies, shape (..., probabilities).

    The weight of a point is spread evenly over its cell, which reaches half a step to both sides.

    Args:
        weights: shape (..., points), >= 0, of any sum above 0.
        points: evenly spaced, ascending, shape (points,), at least 2.
        probabilities: the shares, each above 0 and below 1.
    """
    step = points[1] - points[0]
    total = np.cumsum(weights, axis=-1)
    found = np.empty((*weights.shape[:-1], len(probabilities)))
    for place, probability in enumerate(probabilities):
        wanted = probability * total[..., -1:]
        cell = np.minimum((total < wanted).sum(axis=-1, keepdims=True), len(points) - 1)
        inside = np.take_along_axis(weights, cell, axis=-1)
        short = np.take_along_axis(total, cell, axis=-1) - wanted
        found[..., place] = (points[cell] + (0.5 - short / inside) * step)[..., 0]
    return found
