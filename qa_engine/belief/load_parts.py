"""What a litre of water spends, in parts: as the grade's own model counts it.

The model is asked again without one thing that the analysis said after the other; what the load
loses each time is that thing's part. A model that does not count a thing gives it no part.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from qa_engine.depletion.model import ResinModel, Water
from qa_engine.depletion.weighing import water_of
from qa_engine.water import caco3_eq_l

ANALYSED = {"alkalinity_mg_l": "alkalinity", "ph": "pH", "silica_mg_l": "silica"}


@dataclass(frozen=True)
class Load:
    """What a litre of water spends, all in equivalents per litre of water.

    Attributes:
        total: all of it [eq/L].
        ions: dissolved salts but for the alkalinity where that is known [eq/L].
        alkalinity: bicarbonate, None where it is not known or the model does not ask [eq/L].
        co2, silica: weak acids, likewise [eq/L].
        unknown: what an analysis would have to tell, of what the model asks for.
    """

    total: float
    ions: float
    alkalinity: float | None
    co2: float | None
    silica: float | None
    unknown: tuple[str, ...]


def load_parts(inlet: Mapping[str, float | None], model: ResinModel) -> Load | None:
    """Return the load of a water in parts; None where the model cannot tell it.

    Args:
        inlet: the fields of ``Water``.
        model: of the grade.
    """
    water = water_of(pl.DataFrame([inlet], schema=dict.fromkeys(inlet, pl.Float64)))
    unknown = np.full(1, np.nan)
    total = _load(model, water)
    without_silica = replace(water, silica_mg_l=unknown)
    salts = replace(without_silica, ph=unknown)
    if not total > 0:
        return None
    of_salts = _load(model, salts)
    silica = total - _load(model, without_silica)
    co2 = total - silica - of_salts
    alkalinity = _alkalinity(model, salts, of_salts)
    return Load(
        total,
        of_salts - (alkalinity or 0.0),
        alkalinity,
        co2 if co2 > 0 else None,
        silica if silica > 0 else None,
        tuple(name for field, name in ANALYSED.items() if _asks(model, water, field)),
    )


def _load(model: ResinModel, water: Water) -> float:
    return float(model.load_eq_l(water)[0])


def _alkalinity(model: ResinModel, water: Water, of_salts: float) -> float | None:
    if np.isnan(water.alkalinity_mg_l[0]):
        return None
    unknown = replace(water, alkalinity_mg_l=np.full(1, np.nan))
    if _load(model, unknown) == of_salts:
        return None
    return min(float(caco3_eq_l(water.alkalinity_mg_l)[0]), of_salts)


USUAL = {"alkalinity_mg_l": 100.0, "ph": 7.5, "silica_mg_l": 10.0}
"""Of an ordinary tap water, to see whether a model asks for it at all."""


def _asks(model: ResinModel, water: Water, field: str) -> bool:
    """Tell whether something is not known that the model would make use of."""
    if not np.isnan(getattr(water, field)[0]):
        return False
    usual = {n: np.full(1, v) for n, v in USUAL.items() if np.isnan(getattr(water, n)[0])}
    rest = replace(water, **usual)
    return _load(model, rest) != _load(model, replace(rest, **{field: np.full(1, np.nan)}))
