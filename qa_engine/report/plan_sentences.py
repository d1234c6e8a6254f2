"""The sentences that a forecast's report begins with: which resin must be changed by when."""

from collections.abc import Iterator
from datetime import date

import polars as pl

from qa_engine.report.plan import Plan
from qa_engine.report.sentences import counted, day, listed, sentence_case

SOON_D = 7
"""Changes within so many days are named in the first sentence [d]."""


def plan_headline(plan: Plan) -> str:
    """Return what a forecast says, in a few sentences."""
    return " ".join((*_changes(plan), *_silent(plan), *_jobs(plan)))


def in_order(plan: Plan) -> pl.DataFrame:
    """Return the tanks that have a forecast, the first to be changed first."""
    told = plan.forecast.tanks.filter(pl.col("why_not").is_null())
    return told.sort("change_by", "reached_median", "tank", nulls_last=True)


def percent(share: float) -> str:
    """Return a share in whole percent, which no line breaks apart."""
    return f"{share * 100:.0f}\N{NO-BREAK SPACE}%"


def at_their_limit() -> pl.Expr:
    """Tell of which tanks the outlet has reached its limit: by a reading, or in nearly any case."""
    used_up = (pl.col("litres_left_high") <= 0).fill_null(value=False)
    return pl.col("at_limit").fill_null(value=False) | used_up


def _changes(plan: Plan) -> Iterator[str]:
    told = in_order(plan)
    in_use = plan.forecast.tanks.filter(pl.col("why_not").ne_missing("out of use"))
    over = in_use.filter(at_their_limit())["tank"].sort()
    due = told.filter(~at_their_limit()).drop_nulls("change_by")
    last = plan.forecast.day(SOON_D)
    soon = due.filter(pl.col("change_by") <= last)
    yield from _over(over)
    groups = soon.group_by("change_by", maintain_order=True).agg(pl.col("tank").sort())
    named = [f"of {listed(tanks)} {_before(when, plan)}" for when, tanks in groups.iter_rows()]
    if named:
        yield f"Change the resin {listed(named)}."
    elif due.height or told.filter(~at_their_limit()).height:
        yield f"No {'other ' if len(over) else ''}resin needs to be changed by {day(last)}."
    if (later := due.height - soon.height) > 0:
        tank, by = due.select("tank", "change_by").row(soon.height)
        what = "one more follows" if later == 1 else f"{counted(later, 'more', 'more')} follow"
        yield sentence_case(f"{what}, the first {tank} before work on {day(by)}.")
    beyond = told.filter(~at_their_limit(), pl.col("change_by").is_null()).height
    if beyond:
        verb = "needs" if beyond == 1 else "need"
        end = day(plan.forecast.day(plan.forecast.days))
        yield sentence_case(f"{counted(beyond, 'tank')} {verb} no change by {end}.")


def _over(tanks: pl.Series) -> Iterator[str]:
    if len(tanks):
        outlet = "outlet has reached its" if len(tanks) == 1 else "outlets have reached their"
        yield f"Of {listed(tanks)} the {outlet} limit: change the resin before the next vehicle."


def _before(when: date, plan: Plan) -> str:
    if when == plan.forecast.today:
        return "today"
    return f"before work on {when:%A} {day(when)}"


def _silent(plan: Plan) -> Iterator[str]:
    silent = plan.forecast.tanks.height - in_order(plan).height
    if silent:
        yield sentence_case(f"of {counted(silent, 'tank')} nothing can be foretold.")
    if plan.forecast.tanks.is_empty():
        yield "No tank is known, so that there is nothing to foretell."


def _jobs(plan: Plan) -> Iterator[str]:
    if plan.bookings is None:
        return
    risky = plan.bookings.first_at_risk
    vans = risky.select("van", "date").unique(maintain_order=True).rows()
    if vans:
        named = listed(f"{van} on {day(when)}" for van, when in vans)
        yield f"Not sure to get through its booked jobs: {named}."
    elif plan.bookings.jobs["gets_through"].null_count() == 0 and plan.bookings.jobs.height:
        yield "Every van gets through its booked jobs."
