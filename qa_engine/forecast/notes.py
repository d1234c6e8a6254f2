"""What the reader of a forecast should know of it: where figures come from, what is assumed."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import polars as pl

from qa_engine.forecast.dates import ASSUMED_RISK
from qa_engine.forecast.outcome import Forecast
from qa_engine.forecast.past_days import RECENT
from qa_engine.forecast.standing import OWN
from qa_engine.plugin_host import Plugin

SHOWN_TANKS = 8
"""How many tanks a note names before it counts the rest."""


def notes_of(found: Forecast, risk: float | None, plugins: Iterable[Plugin]) -> Forecast:
    """Return a forecast with its notes.

    Args:
        found: the forecast.
        risk: the risk that was asked for, None if none was.
        plugins: every plugin and what became of it.
    """
    told = found.tanks.filter(pl.col("why_not").is_null())
    notes = [*_failed(plugins), *_limits(told), *_risk(found, told, risk), *_basis(told)]
    return replace(found, notes=(*notes, *_demand(told), *_never(told)))


def named(tanks: pl.Series) -> str:
    """Return tanks as words, the first few by name."""
    more = len(tanks) - SHOWN_TANKS
    listed = ", ".join(tanks.head(SHOWN_TANKS))
    return f"{listed} and {more} more" if more > 0 else listed


def _failed(plugins: Iterable[Plugin]) -> Iterator[str]:
    for plugin in plugins:
        if plugin.state == "failed":
            yield f"Plugin '{plugin.name}' failed: {plugin.reason}. What it offers is missing here."


def _limits(told: pl.DataFrame) -> Iterator[str]:
    columns = ("limit", "limit_rule", "limit_edition")
    for (limit, rule, edition), some in told.group_by(*columns, maintain_order=True):
        who = "A charge" if some.height == told.height else f"A charge of {named(some['tank'])}"
        yield (
            f"{who} ends when its outlet reaches {limit:g} mg/L: the lowest limit that a rule in "
            f"force settles by a resin change ({rule}, edition {edition})."
        )


def _risk(found: Forecast, told: pl.DataFrame, risk: float | None) -> Iterator[str]:
    if risk is not None or told.is_empty():
        return
    if found.prices is None:
        yield f"Nobody stated a risk or prices; a risk of {ASSUMED_RISK * 100:.0f} % is assumed."
        return
    lacking = told.filter(pl.col("least_cost_risk").is_null())["tank"]
    yield (
        "The risk is the one that costs least: a rinse given up by changing early costs its share "
        "of the next change, a rinse past the limit a call-back."
    )
    if len(lacking):
        yield (
            f"Of {named(lacking)} it cannot be worked out, for lack of a price of the grade, of "
            f"rinses counted or of a limit that is reached; {ASSUMED_RISK * 100:.0f} % is assumed."
        )


def _basis(told: pl.DataFrame) -> Iterator[str]:
    for (basis,), some in told.filter(pl.col("basis") != OWN).group_by("basis"):
        yield f"Of {named(some['tank'])} the capacity is known from {basis}."


def _demand(told: pl.DataFrame) -> Iterator[str]:
    if told.is_empty():
        return
    yield (
        f"Demand is drawn from each tank's own {RECENT} days before today by day of the week, "
        "days without a rinse counted in; the inlet water stays as last read, give or take what "
        "it strayed in these days."
    )
    seasonal = told.filter(pl.col("season"))["tank"]
    if len(seasonal):
        yield f"Last year's season is counted in for {named(seasonal)}."


def _never(told: pl.DataFrame) -> Iterator[str]:
    never = told.filter(pl.col("equivalents_left_median").is_null())["tank"]
    if len(never):
        yield f"On the inlet water of {named(never)} the outlet is not expected to reach the limit."
