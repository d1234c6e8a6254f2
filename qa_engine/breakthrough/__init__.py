"""How an exchange bed breaks through: outlet over inlet against use, and what can be read off it.

``X`` is outlet over inlet concentration; ``T``, the used fraction, is equivalents fed over
equivalents of capacity (1 is stoichiometric); ``N`` is the number of transfer or reaction units,
which says how sharp the front is; ``R`` is the separation factor (0 irreversible, below 1
favourable, 1 linear). Arguments broadcast, NaN is unknown, and no N is too large.
"""

from qa_engine.breakthrough.curves import (
    BOHART_ADAMS,
    FILM,
    KLINKENBERG,
    LOGISTIC,
    Curve,
    thomas_curve,
)
from qa_engine.breakthrough.film import film_breakthrough, film_used_fraction
from qa_engine.breakthrough.fitting import Estimate, Fit, fit_curve, stoichiometric_throughput
from qa_engine.breakthrough.irreversible import (
    bohart_adams,
    bohart_adams_used_fraction,
    logistic,
    logistic_used_fraction,
)
from qa_engine.breakthrough.linear import klinkenberg, klinkenberg_used_fraction
from qa_engine.breakthrough.reversible import thomas, thomas_used_fraction
from qa_engine.breakthrough.tails import j_function

__all__ = [
    "BOHART_ADAMS",
    "FILM",
    "KLINKENBERG",
    "LOGISTIC",
    "Curve",
    "Estimate",
    "Fit",
    "bohart_adams",
    "bohart_adams_used_fraction",
    "film_breakthrough",
    "film_used_fraction",
    "fit_curve",
    "j_function",
    "klinkenberg",
    "klinkenberg_used_fraction",
    "logistic",
    "logistic_used_fraction",
    "stoichiometric_throughput",
    "thomas",
    "thomas_curve",
    "thomas_used_fraction",
]
