"""Which share of a van's water each of its tanks passes, by the water that they drew of late."""

from collections.abc import Mapping, Sequence

import polars as pl

from qa_engine.forecast.outcome import Forecast
from qa_engine.history import valid_rows
from qa_engine.register import Register

OUT_OF_USE = "out of use"
"""The reason of ``whynot.WHY_NOT`` for which no water runs through a tank."""

COLUMNS = {"place": pl.UInt32(), "van": pl.String(), "tank": pl.String(), "share": pl.Float64()}


def shares_of(forecast: Forecast, register: Register) -> pl.DataFrame:
    """Return the share of its van's water that each tank passes.

    Tanks that the register has behind one another (``after_tank``) pass the same water. Such
    trains share what a van rinses as they did of late; where nothing was rinsed of late, alike.
    What stands out of use passes none.

    Args:
        forecast: of the tanks.
        register: says which tank stands behind which.

    Returns:
        A frame of ``place`` (the row in ``forecast.tanks``), ``van``, ``tank`` and ``share`` [1],
        sorted by (van, tank); only tanks that are in a van and pass any of its water.
    """
    tanks = _in_vans(forecast)
    ahead = _ahead(tanks, forecast, register)
    trains = pl.Series("train", [_first(tank, ahead) for tank in tanks["tank"]], pl.String)
    drawn = pl.col("litres_a_day").fill_nan(None).fill_null(0.0).max()
    shared = (
        tanks.with_columns(trains)
        .group_by("van", "train")
        .agg(drawn.alias("drawn"))
        .with_columns(
            pl.when(pl.col("drawn").sum().over("van") > 0)
            .then(pl.col("drawn") / pl.col("drawn").sum().over("van"))
            .otherwise(1.0 / pl.len().over("van"))
            .alias("share")
        )
    )
    return (
        tanks.with_columns(trains)
        .join(shared, on=["van", "train"])
        .filter(pl.col("share") > 0)
        .select(pl.col(name).cast(dtype) for name, dtype in COLUMNS.items())
        .sort("van", "tank")
    )


def _in_vans(forecast: Forecast) -> pl.DataFrame:
    in_use = pl.col("why_not").ne_missing(OUT_OF_USE)
    return forecast.tanks.with_row_index("place").filter(pl.col("van").is_not_null(), in_use)


def _ahead(tanks: pl.DataFrame, forecast: Forecast, register: Register) -> dict[str, str]:
    """Return the tank in the same van that each tank stands behind."""
    asked = tanks.select("tank", pl.lit(forecast.as_of).cast(pl.Datetime("us", "UTC")).alias("at"))
    behind = valid_rows(asked, register, "tanks", ["after_tank"])["after_tank"]
    vans: Mapping[str, str] = dict(tanks.select("tank", "van").iter_rows())
    pairs: Sequence[tuple[str, str | None]] = list(zip(tanks["tank"], behind, strict=True))
    return {tank: one for tank, one in pairs if one is not None and vans.get(one) == vans[tank]}


def _first(tank: str, ahead: Mapping[str, str]) -> str:
    """Return the first tank of a train; of tanks in a circle, the one that sorts first."""
    passed = [tank]
    while (tank := ahead.get(tank, "")) and tank not in passed:
        passed.append(tank)
    return min(passed[passed.index(tank) :]) if tank else passed[-1]
