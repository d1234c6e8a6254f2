"""One tank through time: what its charge had used, what it will have used, what its limits were.

What it says of the present is what the facts and the forecast of the fleet say of it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from qa_engine.asking import known_of
from qa_engine.charges import charge_at
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.charge_facts import charge_subjects
from qa_engine.facts.learnt import outlook_of
from qa_engine.facts.past import Past
from qa_engine.forecast.limits import ending_limits, lowest
from qa_engine.forecast.outcome import Forecast
from qa_engine.forecast.quantiles import ends_of
from qa_engine.forecast.standing import OF_GRADE
from qa_engine.register import day_start
from qa_engine.rulesets import Edition
from qa_engine.subjects import subjects_of

INSTANT = pl.Datetime("us", "UTC")
USED = {
    "learnt_used_fraction_low": "low",
    "learnt_used_fraction": "median",
    "learnt_used_fraction_high": "high",
    "charge_water": "water",
}
AT_ITS_END = (
    "charge_rinses",
    "charge_water",
    "charge_resin_volume",
    "learnt_used_fraction_low",
    "learnt_used_fraction",
    "learnt_used_fraction_high",
    "last_outlet_tds",
)


@dataclass(frozen=True)
class TankThroughTime:
    """A tank through time; shares are of the capacity, their ends at 10, 50 and 90 % [1].

    Attributes:
        used: of the charge in use, as it was known then: ``at``, ``low``, ``median``, ``high``,
            ``water`` [L]; after the change, at each day's last record and now.
        ahead: of the same charge if nothing is done: ``day``, ``low``, ``median``, ``high`` at the
            day's end; empty where nothing can be foretold.
        limits: the outlet limits that ended a charge: ``since``, ``until``, ``limit`` [mg/L],
            ``rule``, ``edition``; earliest first, with gaps where no rule set one.
        charges: ``charge``, ``begins``, ``ends`` (null while it lasts), ``grade``, and at its end
            the facts ``AT_ITS_END``; earliest first.
    """

    used: pl.DataFrame
    ahead: pl.DataFrame
    limits: pl.DataFrame
    charges: pl.DataFrame


def through_time(
    tank: str,
    past: Past,
    catalogue: Catalogue,
    forecast: Forecast,
    editions: Sequence[Edition],
    since: datetime,
) -> TankThroughTime | None:
    """Return a tank through time, None where it is not known.

    Args:
        tank: which tank.
        past: its records, and the analyses of its water.
        catalogue: the facts.
        forecast: that of the fleet, as of the same instant.
        editions: those that judge.
        since: from when on limits are told.
    """
    now = subjects_of("tank", past, by_day=False).filter(pl.col("subject") == tank)
    if now.is_empty():
        return None
    return TankThroughTime(
        used=_used(now, past, catalogue),
        ahead=_ahead(now, past, forecast),
        limits=_limits(now, past, catalogue, editions, since),
        charges=_charges(tank, past, catalogue),
    )


def _at(now: pl.DataFrame, instants: Iterable[datetime]) -> pl.DataFrame:
    """Return a tank as a subject at each of some instants, ascending."""
    at = pl.DataFrame({"at": pl.Series(sorted(set(instants)), dtype=INSTANT)})
    return now.drop("at", "until").join(at, how="cross").with_columns(until=pl.col("at"))


def _used(now: pl.DataFrame, past: Past, catalogue: Catalogue) -> pl.DataFrame:
    begins = charge_at(now.select("tank", "at"), past.charges)["begins"][0]
    subjects = _at(now, _ends_of_days(now["tank"][0], past, begins))
    known = known_of("tank", USED, subjects, past, catalogue).frame
    return subjects.select("at").hstack(known.select(*USED).rename(USED)).drop_nulls("median")


def _ends_of_days(tank: str, past: Past, begins: datetime | None) -> list[datetime]:
    """Return when the charge in use began, the last record of each day in it, and now."""
    found = {past.as_of}
    zone = past.register.zone.key
    for kind in ("rinse", "reading"):
        day = pl.col("at").dt.convert_time_zone(zone).dt.date()
        own = past.history.of(kind, "tank", "at").filter(pl.col("tank") == tank)
        found |= set(own.group_by(day.alias("day")).agg(pl.col("at").max())["at"])
    return [at for at in ({*found, begins} if begins else found) if begins is None or at >= begins]


def _ahead(now: pl.DataFrame, past: Past, forecast: Forecast) -> pl.DataFrame:
    """Return the share used at the end of each coming day: scenario by scenario, then its ends."""
    row = forecast.tanks["tank"].index_of(now["tank"][0])
    nothing = pl.DataFrame(
        schema={"day": pl.Date, **dict.fromkeys(("low", "median", "high"), pl.Float64)}
    )
    if row is None or forecast.tanks["why_not"][row] is not None:
        return nothing
    outlook = outlook_of(now, past)
    drawn_eq = forecast.demand.litres(slice(row, row + 1))[0] * forecast.load_eq_l[row]
    held_eq = outlook.capacity_eq[0]
    held_eq = np.repeat(held_eq, drawn_eq.shape[1] // len(held_eq))
    ends = ends_of((outlook.spent_eq[0] + np.cumsum(drawn_eq, axis=0)) / held_eq)
    days = [forecast.day(place) for place in range(len(ends))]
    columns = {name: ends[:, n] for n, name in enumerate(("low", "median", "high"))}
    return pl.DataFrame({"day": days, **columns}, schema=nothing.schema, nan_to_null=True)


def _limits(
    now: pl.DataFrame,
    past: Past,
    catalogue: Catalogue,
    editions: Sequence[Edition],
    since: datetime,
) -> pl.DataFrame:
    tank = now["tank"][0]
    instants = [at for at in _turns(tank, past, editions) if since < at <= past.as_of]
    subjects = _at(now, [since, *instants])
    known = subjects.select("tank", "van", "at").hstack(
        known_of("tank", OF_GRADE, subjects, past, catalogue).frame.select(*OF_GRADE)
    )
    rows = [_limit(row, editions, past) for row in known.iter_rows(named=True)]
    frame = pl.DataFrame(
        rows,
        schema={"since": INSTANT, "limit": pl.Float64, "rule": pl.String, "edition": pl.String},
        orient="row",
    )
    ends = pl.col("since").shift(-1).fill_null(pl.lit(past.as_of)).cast(INSTANT)
    return (
        frame.filter(pl.struct("limit", "rule", "edition").rle_id().is_first_distinct())
        .with_columns(until=ends)
        .drop_nulls("limit")
    )


def _turns(tank: str, past: Past, editions: Sequence[Edition]) -> set[datetime]:
    """Return the instants at which the limit may become another."""
    zone = past.register.zone
    begun = [day_start(one.in_force_from, zone) for one in editions]
    ended = [
        day_start(one.in_force_until + timedelta(days=1), zone)
        for one in editions
        if one.in_force_until is not None
    ]
    changes = past.charges.filter(pl.col("tank") == tank)["begins"].drop_nulls()
    return {*begun, *ended, *changes}


def _limit(
    row: dict[str, object], editions: Sequence[Edition], past: Past
) -> tuple[object, float | None, str | None, str | None]:
    at = row["at"]
    assert isinstance(at, datetime)
    day: date = at.astimezone(past.register.zone).date()
    found = lowest(ending_limits(editions, day), {"sampled": "flowing", **row})
    if found is None:
        return at, None, None, None
    limit, rule = found
    return at, limit, f"{rule.rule_set}/{rule.rule}", rule.edition


def _charges(tank: str, past: Past, catalogue: Catalogue) -> pl.DataFrame:
    subjects = charge_subjects(past).filter(pl.col("tank") == tank)
    known = known_of("charge", AT_ITS_END, subjects, past, catalogue).frame.select(*AT_ITS_END)
    cut = past.charges.filter(pl.col("tank") == tank)
    return cut.select("charge", "begins", "ends", "grade").hstack(known)
