"""What crews of the invented fleet log in the fields of each kind of record."""

import numpy as np
import polars as pl

VANS_PER_BASE = 20
RESIN_VOLUME_L = 14.0


def named(letter: str, numbers: np.ndarray) -> pl.Series:
    """Return ids made of a letter and numbers."""
    return letter + pl.Series(numbers).cast(pl.String)


def _sometimes(rng: np.random.Generator, column: pl.Series, share: float) -> pl.Series:
    """Return a column with a share of its values missing."""
    kept = pl.Series(rng.random(len(column)) >= share)
    return column.to_frame().select(pl.when(kept).then(pl.first()))[column.name]


def _mostly(rng: np.random.Generator, rows: pl.DataFrame, **words: float) -> pl.Series:
    """Return words drawn by their shares; underscores in them stand for blanks."""
    names = [name.replace("_", " ") for name in words]
    draw = np.searchsorted(np.cumsum(list(words.values()))[:-1], rng.random(rows.height))
    return worded(names, draw)


def worded(words: list[str], codes: np.ndarray) -> pl.Series:
    """Return the words that codes stand for."""
    return pl.Series(words).gather(codes)


def _yes(rng: np.random.Generator, rows: pl.DataFrame, share: float = 0.99) -> pl.Series:
    return _sometimes(rng, pl.Series(rng.random(rows.height) < share), 0.005)


def _between(rng: np.random.Generator, rows: pl.DataFrame, low: float, high: float) -> np.ndarray:
    return rng.uniform(low, high, rows.height).round(1)


def _reading(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    inlet = rows["inlet"]
    broken = (rows["used"] - 0.93).clip(0, 1) * 0.6
    outlet = (rng.uniform(0, 3, rows.height) + inlet * broken).round(1)
    hot = rng.random(rows.height) < 0.003
    return rows.with_columns(
        inlet_tds=_sometimes(rng, inlet, 0.02),
        outlet_tds=_sometimes(rng, outlet, 0.02),
        inlet_conductivity=_sometimes(rng, inlet * 2, 0.5),
        outlet_conductivity=_sometimes(rng, outlet * 2, 0.5),
        water_temperature=_between(rng, rows, 8, 30) + np.where(hot, 20, 0),
        meter=pl.col("van").str.replace("V", "M", literal=True),
        sampled=_sometimes(rng, _mostly(rng, rows, flowing=0.96, first_flush=0.04), 0.01),
        counter=_sometimes(rng, rows["counted"], 0.5),
    )


def _rinse(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    high = np.where(rng.random(rows.height) < 0.01, 250, 0)
    pressure = pl.Series(_between(rng, rows, 250, 500) + high)
    return rows.with_columns(
        pl.col("class").alias("vehicle_class"),
        rinses=_sometimes(rng, rows["vehicles"], 0.0005),
        water_used=_sometimes(rng, rows["litres"], 0.03),
        counter=_sometimes(rng, rows["counted"], 0.1),
        flow=_between(rng, rows, 6, 9),
        inlet_pressure=_sometimes(rng, pressure, 0.01),
        static_pressure=pressure + 50,
        purpose=_mostly(rng, rows, rinse=0.98, wash_and_rinse=0.02),
    )


def _resin_change(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    return rows.with_columns(
        change=_mostly(rng, rows, emptied_and_refilled=0.97, topped_up=0.03),
        grade=_sometimes(rng, pl.repeat("standard mixed bed", rows.height, eager=True), 0.005),
        lot=_sometimes(rng, named("L", rng.integers(100, 999, rows.height)), 0.02),
        resin_volume=pl.lit(RESIN_VOLUME_L),
        isolated=_yes(rng, rows),
        depressurised=_yes(rng, rows),
        pressure_before_opening=pl.lit(0.0),
        riser_checked=_yes(rng, rows),
        sealing_faces_clean=_yes(rng, rows),
        head_closed_to_instruction=_yes(rng, rows),
        leak_seen=_mostly(rng, rows, none=0.99, head=0.01),
        freeboard=_between(rng, rows, 110, 240),
        flush_time=_between(rng, rows, 1.9, 6),
        outlet_tds_before=_between(rng, rows, 5, 25),
        outlet_tds_after=_between(rng, rows, 0, 1.02),
        counter=pl.col("counted"),
    )


def _seal_service(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    return rows.with_columns(
        seal=_mostly(rng, rows, head=0.8, riser=0.15, port=0.05),
        seal_material=_mostly(rng, rows, EPDM=0.98, unknown=0.02),
        lubricant=_mostly(rng, rows, silicone=0.98, none=0.01, petroleum=0.01),
        replaced=_yes(rng, rows, 0.2),
    )


def _vessel_service(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    year = pl.col("at").dt.date() + pl.duration(days=365)
    return rows.with_columns(
        service=_mostly(rng, rows, visual=0.7, periodic=0.2, hydrostatic=0.1),
        authority=_sometimes(rng, _mostly(rng, rows, data_plate=0.5, local_code=0.5), 0.05),
        result=_mostly(rng, rows, fit=0.97, fit_with_limits=0.02, unfit=0.01),
        competent_person=pl.col("by"),
        next_due=year,
    )


def _meter_check(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    return rows.with_columns(
        meter=pl.col("van").str.replace("V", "M", literal=True),
        standard_conductivity=pl.lit(84.0),
        shown_before=_between(rng, rows, 81.5, 86.5),
        shown_after=_between(rng, rows, 83.5, 84.5),
        water_temperature=_between(rng, rows, 18, 26),
        standard_lot=pl.lit("K7"),
        standard_use_by=pl.col("at").dt.date() + pl.duration(days=90),
    )


def _disposal(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    return rows.with_columns(
        base=_base(rows, "B"),
        resin_volume=pl.lit(RESIN_VOLUME_L * 60),
        origin=_sometimes(rng, _mostly(rng, rows, fresh_water=1.0), 0.02),
        destination=pl.lit("invented yard"),
        local_rule=pl.lit("by-law 7"),
    ).with_columns(tank=pl.lit(None, pl.String))


def _base(rows: pl.DataFrame, letter: str) -> pl.Series:
    van = rows["van"].str.strip_prefix("V").cast(pl.Int64)
    return named(letter, (van // VANS_PER_BASE).to_numpy())


def _complaint(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    return rows.with_columns(
        pl.col("class").alias("vehicle_class"),
        complaint=_mostly(rng, rows, spots=0.8, film=0.1, streaks=0.1),
        rinsed_again=_yes(rng, rows, 0.9),
    )


def _water_analysis(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    return rows.with_columns(
        source=_base(rows, "S"),
        conductivity=rows["inlet"] * 2,
        hardness=_between(rng, rows, 80, 220),
        alkalinity=_between(rng, rows, 60, 180),
        ph=_between(rng, rows, 7, 8),
        silica=_between(rng, rows, 4, 12),
        tank=pl.lit(None, pl.String),
    )


def _incident(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    return rows.with_columns(incident=_mostly(rng, rows, drop=0.6, freeze=0.2, leak=0.2))


def _out_of_use(rows: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    return rows.with_columns(item=pl.col("tank"), reason=pl.lit("dent"))


KINDS = {
    "reading": _reading,
    "rinse": _rinse,
    "resin_change": _resin_change,
    "seal_service": _seal_service,
    "vessel_service": _vessel_service,
    "meter_check": _meter_check,
    "disposal": _disposal,
    "complaint": _complaint,
    "water_analysis": _water_analysis,
    "incident": _incident,
    "out_of_use": _out_of_use,
    "return_to_use": _out_of_use,
}
"""What fills the fields of each kind."""

CODES = {kind: code for code, kind in enumerate(KINDS)}
