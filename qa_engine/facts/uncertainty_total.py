"""The uncertainty of very many readings: per state of a meter, a few numbers tell it all.

``u^2 = y^2 (a + g (dT / slope)^2) + y b + d``, with a, b, d and g from the meter's row in the
register and its last check, and dT from the water. It is the sum of squares of the parts that
``uncertainty_budget`` tells one by one; a property test holds the two equal.
"""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.facts.past import Past
from qa_engine.facts.uncertainty_budget import checks_of
from qa_engine.history import latest
from qa_engine.register import BEGINNING
from qa_engine.uncertainty import (
    COEFFICIENT_HALF_WIDTH_PER_K,
    COEFFICIENT_PER_K,
    COLDEST_DEGC,
    FACTOR_HALF_WIDTH,
    REFERENCE_DEGC,
    USUAL_FACTOR,
)

AMOUNTS = ("squared", "linear", "constant", "of warmth", "coldest")
"""What a state of a meter makes of a reading: a, b, d, g, and the coldest that the water can be."""

AT_A_TIME = 16_384
"""So many readings fit into the cache of a processor with all that is reckoned on the way."""

NOWHERE = -1
"""The last place of the amounts: a state of which nothing is known."""

Floats = NDArray[np.float64]
Places = NDArray[np.int64]


def total_of(readings: pl.DataFrame, value: str, unit: str, past: Past) -> pl.DataFrame:
    """Return the standard uncertainty of readings, and the check that adds to it.

    Args:
        readings: has ``at``, ``meter``, ``water_temperature`` and the value.
        value: the column that the meter showed.
        unit: its unit, mg/L or uS/cm.
        past: the register and the checks of meters.

    Returns:
        A frame of ``total``, null where it is not known, and ``check``, row for row.
    """
    states = _states(past, is_tds=unit == "mg/L")
    place = _places(readings, states)
    shown, degc = (readings[name].to_numpy() for name in (value, "water_temperature"))
    amounts = [np.append(states[name].to_numpy(), np.nan) for name in AMOUNTS]
    total = pl.Series("total", _totals(shown, degc, place, amounts), nan_to_null=True)
    return pl.DataFrame([total, _adding(states["check"], place)])


def _adding(checks: pl.Series, place: Places) -> pl.Series:
    """Return the check that adds to each uncertainty; few ever do."""
    found = np.flatnonzero(np.append(checks.is_not_null(), False).take(place))
    none = pl.Series("check", [None], pl.String).new_from_index(0, len(place))
    return none.scatter(found, checks.gather(place[found])) if len(found) else none


def _totals(shown: Floats, degc: Floats, place: Places, amounts: list[Floats]) -> Floats:
    """Return the standard uncertainties of readings, NaN where unknown, shape (n)."""
    total = np.empty(len(shown))
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for start in range(0, len(shown), AT_A_TIME):
            part = slice(start, start + AT_A_TIME)
            y, t = shown[part], degc[part]
            squared, linear, constant, of_warmth, coldest = (a.take(place[part]) for a in amounts)
            away = np.where(np.isnan(t), coldest, t) - REFERENCE_DEGC
            steep = away / (away * COEFFICIENT_PER_K + 1.0)
            squares = squared + of_warmth * steep * steep
            np.sqrt(y * (y * squares + linear) + constant, out=total[part])
    return total


def _states(past: Past, *, is_tds: bool) -> pl.DataFrame:
    """Return how meters stood from an instant ``at`` on, those first that only ever stood one way.

    A meter's state changes with its row in the register and with its checks; the checks of a meter
    that never was beyond its data sheet change nothing.
    """
    checks = checks_of(past)
    meters = past.register.table("meters").select("meter", "holds_from", *_of_row(is_tds=is_tds))
    beyond = checks.filter("beyond").select("meter").unique()
    changes = [
        meters.select("meter", at="holds_from"),
        checks.join(beyond, on="meter", how="semi").select("meter", "at"),
    ]
    moments = pl.concat(changes).unique()
    found = latest(moments, meters, by="meter", take=AMOUNTS, at="holds_from")
    check = latest(moments, checks, by="meter", take=["off", "check", "beyond"])
    off = pl.when("beyond").then("off").fill_null(0.0)
    alone = (pl.len().over("meter") == 1) & (pl.col("at") == BEGINNING)
    return (
        pl.concat([moments, found, check], how="horizontal")
        .with_columns(
            pl.col("squared") + off * off / 3e4,
            pl.when("beyond").then("check"),
            alone=alone,
        )
        .sort(~pl.col("alone"), "meter", "at")
        .with_columns(place=pl.int_range(pl.len()))
    )


def _places(readings: pl.DataFrame, states: pl.DataFrame) -> Places:
    """Return the place of each reading's state, ``NOWHERE`` where its meter has none yet.

    Only the readings of meters that changed are looked up by their instant.
    """
    place = _first_places(readings["meter"], states)
    changed = np.flatnonzero(place >= int(states["alone"].sum()))
    if len(changed):
        asked = readings.select("meter", "at")[changed]
        found = latest(asked, states, by="meter", take=["place"])["place"]
        place[changed] = found.fill_null(NOWHERE)
    return place


def _first_places(meter: pl.Series, states: pl.DataFrame) -> Places:
    """Return the place of the first state of each meter, ``NOWHERE`` for a meter that has none.

    A tank is read with one meter for long: neighbours with the same meter are looked up once.
    """
    firsts = states.unique("meter", keep="first", maintain_order=True).select("meter", "place")
    run = meter.rle_id().to_numpy()
    begins = np.flatnonzero(np.append(True, run[1:] != run[:-1])[: len(run)])
    of_run = meter[begins].to_frame().join(firsts, on="meter", how="left", maintain_order="left")
    return of_run["place"].fill_null(NOWHERE).to_numpy().take(run)


def _of_row(*, is_tds: bool) -> list[pl.Expr]:
    """Return what a row of the register makes of a reading, as columns of the register."""
    stated = pl.col("accuracy_percent").is_not_null() | pl.col("accuracy_digits").is_not_null()
    percent = pl.col("accuracy_percent").fill_null(0.0) / 100
    digits, step = pl.col("accuracy_digits").fill_null(0.0), pl.col("resolution")
    of_factor = pl.lit(0.0)
    if is_tds:
        unstated = FACTOR_HALF_WIDTH / USUAL_FACTOR
        of_factor = pl.when(pl.col("factor").is_null()).then(unstated**2).otherwise(0.0)
    else:
        step = step / pl.col("factor").fill_null(USUAL_FACTOR - FACTOR_HALF_WIDTH)
    outside = pl.when(digits < 1).then(step * step / 12).otherwise(0.0)
    left_out = pl.when("compensation").then(0.0).when(~pl.col("compensation")).then(1.0)
    of_warmth = COEFFICIENT_HALF_WIDTH_PER_K**2 + left_out * COEFFICIENT_PER_K**2
    return [
        pl.when(stated).then((percent * percent + of_factor) / 3).alias("squared"),
        (percent * digits * step * 2 / 3).alias("linear"),
        (digits * digits * step * step / 3 + outside).alias("constant"),
        (of_warmth / 3).alias("of warmth"),
        pl.when("compensation").then(COLDEST_DEGC).alias("coldest"),
    ]
