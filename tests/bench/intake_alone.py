"""Intake alone: CSV with units, checked by the engine and by marshmallow row after row."""

import csv
from pathlib import Path

import polars as pl
from figure import Figure, median_s

from qa_engine.intake import read_records
from qa_engine.records import KINDS

SAMPLE = 10_000
IN_GALLONS = 3.785411784
WITH_UNIT = 0.02
"""The share of outlet readings that carry their unit in the cell."""


def write_csv(records: Path, file: Path) -> Path:
    """Write records as CSV: litres in gallons by the column's head, some cells with their unit."""
    table = pl.read_parquet(records)
    gallons = (pl.col("water_used") / IN_GALLONS).round(3).alias("water_used [gal]")
    plain = pl.col("outlet_tds").cast(pl.String)
    with_unit = pl.int_range(pl.len()) % round(1 / WITH_UNIT) == 0
    table = table.with_columns(
        pl.when(with_unit).then(plain + " ppm").otherwise(plain).alias("outlet_tds"),
        pl.col("at").dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
        gallons,
    )
    table.drop("water_used").write_csv(file)
    return file


def intake_alone(records: Path, folder: Path) -> list[Figure]:
    """Measure the intake of a CSV file against csv and marshmallow alone."""
    file = write_csv(records, folder / "records.csv")
    taken = read_records([file])
    if taken.accepted != taken.read:
        raise ValueError(f"the intake refused rows: {taken.refused.head(3).to_dicts()}")
    ours_s = median_s(lambda: read_records([file]), 3)
    plain_s = median_s(lambda: plain_marshmallow(file), 3) * taken.read / SAMPLE
    return [
        Figure(
            "intake of CSV with units",
            f"{plain_s / ours_s:,.1f} x ({taken.read / ours_s / 1e3:,.0f} k rows/s)",
            ">= 10 x",
            f"{taken.read:,} rows in {ours_s:.2f} s against csv.DictReader and schema.load; "
            f"the plain side on {SAMPLE:,} rows, scaled to {plain_s:.1f} s",
        )
    ]


def plain_marshmallow(file: Path) -> list[dict[str, object]]:
    """Return the first rows of a file, each loaded by the schema of its kind."""
    schemas = {name: kind.schema() for name, kind in KINDS.items()}
    loaded = []
    with file.open(newline="", encoding="utf-8") as stream:
        for number, row in enumerate(csv.DictReader(stream)):
            if number == SAMPLE:
                break
            gallons = row.pop("water_used [gal]")
            written = {name: cell for name, cell in row.items() if cell}
            if gallons:
                written["water_used"] = f"{gallons} gal"
            loaded.append(schemas[row["kind"]].load(written))
    return loaded
