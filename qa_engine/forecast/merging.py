"""A forecast of all tanks of which some were forecast anew."""

from collections.abc import Collection, Iterable
from dataclasses import replace
from typing import TypeVar

import numpy as np
import polars as pl

from qa_engine.depletion.model import Floats
from qa_engine.forecast.draws import Wholes
from qa_engine.forecast.notes import notes_of
from qa_engine.forecast.outcome import Forecast
from qa_engine.plugin_host import Plugin

Values = TypeVar("Values", Floats, Wholes)


def merged(
    before: Forecast, anew: Forecast, some: Collection[str], plugins: Iterable[Plugin]
) -> Forecast:
    """Return a forecast with some of its tanks, and perhaps further ones, as another has them.

    Args:
        before: the forecast of all tanks, without a risk asked for.
        anew: a forecast of those tanks, with the same wish and on the same day.
        some: the tanks.
        plugins: every plugin and what became of it.
    """
    told = pl.Series(sorted(some), dtype=pl.String)
    kept, taken = (
        np.flatnonzero(tanks.is_in(told.implode()).to_numpy() == wanted)
        for tanks, wanted in ((before.tanks["tank"], False), (anew.tanks["tank"], True))
    )
    tanks = pl.concat([before.tanks[kept], anew.tanks[taken]])
    order = tanks["tank"].arg_sort().to_numpy().astype(np.intp)

    def both(one: Values, other: Values) -> Values:
        joined: Values = np.concatenate([one[kept], other[taken]])[order]
        return joined

    mine = pl.col("tank").is_in(told.implode())
    found = replace(
        anew,
        tanks=tanks[order],
        rinses=pl.concat([before.rinses.filter(~mine), anew.rinses.filter(mine)]).sort(
            "tank", "vehicle_class"
        ),
        left_eq=both(before.left_eq, anew.left_eq),
        fresh_eq=both(before.fresh_eq, anew.fresh_eq),
        load_eq_l=both(before.load_eq_l, anew.load_eq_l),
        demand=replace(
            anew.demand,
            seeds=both(before.demand.seeds, anew.demand.seeds),
            past_l=both(before.demand.past_l, anew.demand.past_l),
            season=both(before.demand.season, anew.demand.season),
            today_l=both(before.demand.today_l, anew.demand.today_l),
        ),
    )
    return notes_of(found, None, plugins)
