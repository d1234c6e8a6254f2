"""A forecast of all tanks of which some were forecast anew."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import polars as pl

from qa_engine.depletion.model import Floats
from qa_engine.forecast.demand import Demand, Places
from qa_engine.forecast.notes import notes_of
from qa_engine.forecast.outcome import Forecast
from qa_engine.plugin_host import Plugin


def merged(before: Forecast, anew: Forecast, plugins: Iterable[Plugin]) -> Forecast:
    """Return a forecast with some of its tanks, and perhaps further ones, as another has them.

    Args:
        before: the forecast of all tanks, without a risk asked for.
        anew: the forecast of some, with the same wish and on the same day.
        plugins: every plugin and what became of it.
    """
    known = before.tanks["tank"].is_in(anew.tanks["tank"].implode())
    kept = np.flatnonzero(~known.to_numpy())
    tanks = pl.concat([before.tanks[kept], anew.tanks])
    order = tanks["tank"].arg_sort().to_numpy().astype(np.intp)

    def both(one: Floats, other: Floats) -> Floats:
        return np.concatenate([one[kept], other])[order]

    others = before.rinses.join(anew.tanks, on="tank", how="anti")
    found = replace(
        anew,
        tanks=tanks[order],
        rinses=pl.concat([others, anew.rinses]).sort("tank", "vehicle_class"),
        left_eq=both(before.left_eq, anew.left_eq),
        fresh_eq=both(before.fresh_eq, anew.fresh_eq),
        load_eq_l=both(before.load_eq_l, anew.load_eq_l),
        demand=_demand(before.demand, anew.demand, kept, order),
    )
    return notes_of(found, None, plugins)


def _demand(before: Demand, anew: Demand, kept: Places, order: Places) -> Demand:
    names = ("seeds", "past_l", "season", "today_l")
    arrays = {
        name: np.concatenate([getattr(before, name)[kept], getattr(anew, name)])[order]
        for name in names
    }
    return Demand(**arrays, scenarios=anew.scenarios)
