"""The operator's own past, replayed: what would have been forecast then, against what happened.

Forecasts are made at readings, from the records up to each of them. Every forecast is scored at
the reading nearest to a share of its charge's life, if one is near.
"""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from qa_engine.facts.past import Past
from qa_engine.skill.lives import KEY, Lives, lives_of
from qa_engine.skill.rinses_left import rinses_left
from qa_engine.skill.score import LEAST_CHARGES, SHARES, Cases, Score, rated_rinses, score_of

NEAR = 0.1
"""How far from a share of life its reading may lie, over the life [1]."""


@dataclass(frozen=True)
class Row:
    """What came of the forecasts at one share of life.

    Attributes:
        grade: of which grade, None for all.
        share: of life [1].
        charges: how many charges have a forecast there.
        score: how they did; None where the charges are too few to say.
    """

    grade: str | None
    share: float
    charges: int
    score: Score | None


@dataclass(frozen=True)
class Check:
    """What came of a replay.

    Attributes:
        as_of: nothing later was looked at.
        limit_mg_l: the outlet that ends a charge [mg/L].
        charges: how many charges the records hold.
        used: how many of them were scored.
        left_out: how many were not, by reason, a key of ``lives.WHY_NOT``.
        rows: the scores, grade by grade and then in all.
    """

    as_of: datetime
    limit_mg_l: float
    charges: int
    used: int
    left_out: dict[str, int]
    rows: tuple[Row, ...]


def check_history(past: Past, limit_mg_l: float) -> Check:
    """Return how forecasts of rinses left would have done on the charges of the past.

    The rule of thumb is taken at its best: so many vehicles for a litre of resin, fitted in
    hindsight to the median of the very charges of a grade that it is scored on.

    Args:
        past: the records.
        limit_mg_l: the outlet that ends a charge, on the meter's scale [mg/L].
    """
    lives = lives_of(past, limit_mg_l)
    asked = _asked(lives)
    asked = asked.with_columns(_forecasts(asked, past, limit_mg_l))
    made = asked.filter(pl.all_horizontal(pl.col("low", "median", "high").is_not_null()))
    reasons = _reasons(lives, asked, made)
    return Check(
        past.as_of,
        limit_mg_l,
        charges=lives.charges.height,
        used=int(reasons["why_not"].is_null().sum()),
        left_out=_counted(reasons["why_not"].drop_nulls()),
        rows=_rows(made),
    )


def _asked(lives: Lives) -> pl.DataFrame:
    """Return the reading nearest to each share of each life, with the rated number of rinses."""
    counting = lives.charges.filter(pl.col("why_not").is_null())
    rated = [
        own.with_columns(_rated(own["life"], own["resin_volume"]))
        for own in counting.partition_by("grade", maintain_order=True)
    ]
    charges = pl.concat(rated) if rated else counting.with_columns(_rated())
    shares = charges.join(pl.DataFrame({"share": SHARES}), how="cross")
    read = shares.join(lives.readings, on=KEY)
    off = (pl.col("done") / pl.col("life") - pl.col("share")).abs().alias("off")
    return (
        read.with_columns(off)
        .filter(pl.col("off") <= NEAR, pl.col("done") > 0)
        .sort("share", *KEY, "off", "at", "record")
        .unique(["share", *KEY], keep="first", maintain_order=True)
    )


def _rated(life: pl.Series | None = None, resin_l: pl.Series | None = None) -> pl.Series:
    if life is None or resin_l is None:
        return pl.Series("rated", dtype=pl.Float64)
    return pl.Series("rated", rated_rinses(life.to_numpy(), resin_l.to_numpy()))


def _forecasts(asked: pl.DataFrame, past: Past, limit_mg_l: float) -> list[pl.Series]:
    found = rinses_left(asked.select("tank", "at"), past, limit_mg_l)
    found = np.where(np.isfinite(found).all(axis=1, keepdims=True), found, np.nan)
    names = ("low", "median", "high")
    return [pl.Series(name, found[:, n], nan_to_null=True) for n, name in enumerate(names)]


def _reasons(lives: Lives, asked: pl.DataFrame, made: pl.DataFrame) -> pl.DataFrame:
    """Return all charges with the reason why they were not scored, also what the replay found."""
    seen = (
        pl.struct(KEY).is_in(frame.select(pl.struct(KEY)).to_series().implode())
        for frame in (asked, made)
    )
    was_asked, was_made = seen
    return lives.charges.with_columns(
        pl.when(pl.col("why_not").is_not_null())
        .then("why_not")
        .when(~was_asked)
        .then(pl.lit("gap"))
        .when(~was_made)
        .then(pl.lit("unforeseen"))
        .alias("why_not")
    )


def _counted(reasons: pl.Series) -> dict[str, int]:
    counts = reasons.value_counts().sort(["count", "why_not"], descending=[True, False])
    return dict(counts.iter_rows())


def _rows(made: pl.DataFrame) -> tuple[Row, ...]:
    grades = made["grade"].unique().sort().to_list()
    parts = [(grade, made.filter(pl.col("grade") == grade)) for grade in grades]
    parts = [*parts, (None, made)] if len(parts) != 1 else parts
    return tuple(
        _row(grade, share, own.filter(pl.col("share") == share))
        for grade, own in parts
        for share in SHARES
    )


def _row(grade: str | None, share: float, made: pl.DataFrame) -> Row:
    if made.height < LEAST_CHARGES:
        return Row(grade, share, made.height, None)
    cases = Cases(
        made["done"].to_numpy(),
        made["life"].to_numpy(),
        made.select("low", "median", "high").to_numpy(),
        made["rated"].to_numpy(),
    )
    return Row(grade, share, made.height, score_of(cases))
