"""Facts about readings: what was read as TDS, what the outlet last showed, and how long ago."""

from collections.abc import Sequence

import polars as pl

from qa_engine.charges import charge_at, so_far_in_charge
from qa_engine.facts.days import age_of_latest
from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.facts.whereabouts import with_van
from qa_engine.history import following, latest, valid_rows
from qa_engine.register import Register
from qa_engine.water import LEAST_FOR_TDS_US_CM

SIDES = ("inlet", "outlet")
HAS_OUTLET = pl.col("outlet_tds").is_not_null() | pl.col("outlet_conductivity").is_not_null()


def as_tds(readings: pl.DataFrame, side: str, register: Register) -> pl.Series:
    """Return what readings showed on one side as TDS, row for row [mg/L].

    It is the TDS as shown, else the conductivity times the meter's factor in the register, null
    without a factor. A conductivity below 1 uS/cm counts as 1 uS/cm, since it tells nothing finer
    of dissolved solids.

    Args:
        readings: has ``at``, ``meter``, and TDS and conductivity of the side.
        side: inlet or outlet.
        register: the register with the meters.
    """
    tds, conductivity = f"{side}_tds", f"{side}_conductivity"
    needed = readings[tds].is_null() & readings[conductivity].is_not_null()
    if not needed.any():
        return readings[tds].alias(f"{side}_as_tds")
    factor = valid_rows(readings, register, "meters", ["factor"])["factor"]
    us_cm = pl.col(conductivity).clip(lower_bound=LEAST_FOR_TDS_US_CM)
    made = us_cm * pl.when(pl.col("factor") > 0).then("factor")
    return readings.select(tds, conductivity, factor).select(
        pl.coalesce(tds, made).alias(f"{side}_as_tds")
    )[f"{side}_as_tds"]


def _as_tds(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    sides = [as_tds(subjects, side, past.register) for side in SIDES]
    return pl.DataFrame([*sides, subjects["record"].alias("evidence")])


def last_outlet(subjects: pl.DataFrame, past: Past, more: Sequence[str] = ()) -> pl.DataFrame:
    """Return what the outlet of each subject's charge last showed, row for row beside them.

    It is the last reading from flowing water on the charge, even if it cannot be told as TDS: an
    earlier one would claim too much. Before the first one it is what was read after the resin
    change that began the charge.

    Returns:
        A frame of ``outlet_as_tds`` [mg/L], ``record``, ``read at`` and ``more``, fields of the
        reading. All but the first two are null where a resin change gives the value.
    """
    columns = ("tank", "at", "record", "sampled", "outlet_tds", "outlet_conductivity", "meter")
    readings = past.history.of("reading", *dict.fromkeys((*columns, *more)))
    readings = readings.filter(pl.col("sampled") == "flowing", HAS_OUTLET)
    readings = readings.with_columns(as_tds(readings, "outlet", past.register))
    readings = readings.with_columns(
        *charge_at(readings, past.charges, ["number"]), pl.col("at").alias("read at")
    )
    charge = past.charge_of(subjects)
    take = ["outlet_as_tds", "record", "read at", *more]
    found = so_far_in_charge(subjects, charge["number"], readings, take)
    return _with_first_values(found, charge["record"], past)


def _with_first_values(found: pl.DataFrame, begun_by: pl.Series, past: Past) -> pl.DataFrame:
    """Return values with that of the change that began the charge, where nothing was read since."""
    unread = found.select(pl.col("record").is_null().arg_true()).to_series()
    changes = past.history.of("resin_change", "record", "outlet_tds_after")
    begun = begun_by.gather(unread).to_frame("record")
    first = begun.join(changes, on="record", how="left", maintain_order="left")
    stated = first.select(
        "outlet_tds_after",
        pl.when(pl.col("outlet_tds_after").is_not_null()).then("record").alias("record"),
    )
    return found.with_columns(
        found["outlet_as_tds"].scatter(unread, stated["outlet_tds_after"]),
        found["record"].scatter(unread, stated["record"]),
    )


def _outlet_readings(past: Past) -> pl.DataFrame:
    """Return the readings that say what came out of the tank."""
    columns = ("tank", "at", "record", "van", "outlet_tds", "outlet_conductivity")
    return past.history.of("reading", *columns).filter(HAS_OUTLET)


def _last_outlet_tds(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    return last_outlet(subjects, past).select(
        pl.col("outlet_as_tds").alias("last_outlet_tds"), pl.col("record").alias("evidence")
    )


def _last_outlet_age(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    return age_of_latest(subjects, _outlet_readings(past), by="tank", name="last_outlet_age")


def _rinses_since_reading(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    rinses = past.history.of("rinse", "tank", "at", "rinses").select(
        "tank",
        "at",
        pl.col("rinses").fill_null(0).cum_sum().over("tank").alias("counted"),
        pl.col("rinses").is_null().cum_sum().over("tank").alias("uncounted"),
    )
    readings = _outlet_readings(past).select("tank", "at", "record")
    sums = ["counted", "uncounted"]
    readings = readings.with_columns(latest(readings, rinses, by="tank", take=sums).fill_null(0))
    then = latest(subjects, readings, by="tank", take=["record", *sums])
    now = latest(subjects, rinses, by="tank", take=sums).fill_null(0)
    since = now["counted"] - then["counted"]
    complete = now["uncounted"] == then["uncounted"]
    return then.select(
        pl.when(complete).then(since).alias("rinses_since_reading"),
        pl.col("record").alias("evidence"),
    )


def _reading_followed(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    readings = with_van(_outlet_readings(past), past.register)
    found = following(subjects, readings, by="van", take=["record"])
    return found.select(
        pl.col("record").is_not_null().alias("reading_followed"), pl.col("record").alias("evidence")
    )


def _of_side(side: str) -> Fact:
    meaning = (
        f"what was read at the {side} as TDS: as shown, else the conductivity times the factor of "
        "the meter in the register, anything below 1 uS/cm counting as 1 uS/cm"
    )
    looks_at = (f"{side}_tds", f"{side}_conductivity", "meter_factor")
    return Fact(f"{side}_as_tds", "number", meaning, "mg/L", low=0, looks_at=looks_at)


READING_FACTS = (
    FactGroup(("reading",), tuple(map(_of_side, SIDES)), _as_tds),
    FactGroup(
        ("tank", "charge", "rinse"),
        (
            Fact(
                "last_outlet_tds",
                "number",
                "what the last reading from flowing water on this charge showed at the outlet, as "
                "TDS; before the first one, what was read after the resin change",
                "mg/L",
                low=0,
                looks_at=(
                    "reading.outlet_tds sampled=flowing",
                    "reading.outlet_conductivity sampled=flowing",
                    "resin_change.outlet_tds_after",
                ),
            ),
        ),
        _last_outlet_tds,
    ),
    FactGroup(
        ("tank", "rinse"),
        (
            Fact(
                "last_outlet_age",
                "number",
                "days since any reading of this tank's outlet",
                "d",
                low=0,
                per_day=1,
                looks_at=(
                    "reading.outlet_tds",
                    "reading.outlet_conductivity",
                ),
            ),
        ),
        _last_outlet_age,
    ),
    FactGroup(
        ("tank", "rinse"),
        (
            Fact(
                "rinses_since_reading",
                "number",
                "vehicles rinsed from this tank since the last reading of its outlet, this rinse "
                "included; unknown where one of the counts was not logged",
                "count",
                low=0,
                looks_at=(
                    "reading.outlet_tds",
                    "reading.outlet_conductivity",
                    "each rinse.rinses",
                ),
            ),
        ),
        _rinses_since_reading,
    ),
    FactGroup(
        ("complaint",),
        (
            Fact(
                "reading_followed",
                "yes/no",
                "after the complaint the same van read the outlet of one of its tanks",
                absent="no",
            ),
        ),
        _reading_followed,
        reads=("reading",),
        looks_ahead=True,
    ),
)
