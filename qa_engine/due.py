"""What falls due next: what is still awaited, and limits that time alone will reach."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from qa_engine.conformity import CONFORMS, DOES_NOT_CONFORM, PENDING
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import STATE_SUBJECTS, Fact
from qa_engine.judging import Judged, Requirement

HORIZON_DAYS = 90
"""How far ahead the engine looks for what time alone will bring."""

SCHEMA: dict[str, pl.DataType] = {
    "rule_set": pl.String(),
    "rule": pl.String(),
    "title": pl.String(),
    "subject_kind": pl.String(),
    "subject": pl.String(),
    "item": pl.String(),
    "van": pl.String(),
    "tank": pl.String(),
    "falls_due": pl.Date(),
}
ORDER = ("falls_due", "van", "tank", "rule_set", "rule", "subject")


def due_of(judged: Judged, catalogue: Catalogue, as_of: datetime, zone: ZoneInfo) -> pl.DataFrame:
    """Return what falls due among subjects judged as of an instant, in no particular order.

    Events wait for what must follow them within a time. Things whose facts change by the day are
    judged again for each of the next ``HORIZON_DAYS`` as if nothing more were logged.
    """
    frames = [pl.DataFrame(schema=SCHEMA)]
    for place, one in enumerate(judged.requirements):
        if one.within is not None:
            frames.append(_awaited(judged, one, judged.outcomes[place], zone))
        elif one.subject in STATE_SUBJECTS and _running(one, catalogue):
            frames.append(_foretold(judged, one, judged.outcomes[place], catalogue, as_of, zone))
    return pl.concat(frames)


def in_order(due: pl.DataFrame) -> pl.DataFrame:
    """Return what falls due in the order of days, then by place and rule; nulls last."""
    return due.sort(ORDER, nulls_last=True)


def _awaited(judged: Judged, one: Requirement, outcome: np.ndarray, zone: ZoneInfo) -> pl.DataFrame:
    waiting = judged.subjects.filter(pl.Series(outcome == PENDING))
    day = (pl.col("at") + one.within).dt.convert_time_zone(zone.key).dt.date()
    return waiting.select(_columns(one, day))


def _running(one: Requirement, catalogue: Catalogue) -> dict[str, Fact]:
    """Return the facts of a requirement that change by the day."""
    facts = catalogue.facts_of(one.subject)
    return {n: facts[n] for n in one.needs() if n in facts and facts[n].per_day}


def _foretold(
    judged: Judged,
    one: Requirement,
    outcome: np.ndarray,
    catalogue: Catalogue,
    as_of: datetime,
    zone: ZoneInfo,
) -> pl.DataFrame:
    fine = pl.Series(outcome == CONFORMS)
    subjects = judged.subjects.filter(fine & (judged.subjects["at"] == as_of))
    known = judged.known.frame.filter(fine & (judged.subjects["at"] == as_of))
    ahead = pl.DataFrame({"days ahead": np.arange(1, HORIZON_DAYS + 1)})
    table = known.with_row_index("place").join(ahead, how="cross")
    shifts = [
        (pl.col(name) + fact.per_day * pl.col("days ahead")).alias(name)
        for name, fact in _running(one, catalogue).items()
    ]
    rule = one.editions[-1]
    fails = rule.expression(as_of, as_of) == DOES_NOT_CONFORM
    first = (
        table.with_columns(*shifts, pl.lit(as_of).alias("judged at"))
        .filter(fails)
        .group_by("place", maintain_order=True)
        .agg(pl.col("days ahead").min())
    )
    day = pl.lit(as_of.astimezone(zone).date()) + pl.duration(days=pl.col("days ahead"))
    return subjects[first["place"]].with_columns(first["days ahead"]).select(_columns(one, day))


def _columns(one: Requirement, day: pl.Expr) -> Sequence[pl.Expr]:
    return [
        pl.lit(one.rule_set).alias("rule_set"),
        pl.lit(one.rule).alias("rule"),
        pl.lit(one.editions[-1].rule.title).alias("title"),
        pl.lit(one.subject).alias("subject_kind"),
        pl.col("subject"),
        pl.col("item"),
        pl.col("van"),
        pl.col("tank"),
        day.cast(pl.Date).alias("falls_due"),
    ]
