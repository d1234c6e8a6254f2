"""Reads each different cell of a column once, since columns say the same things many times."""

from collections.abc import Callable

import polars as pl

WORTH_IT = 0.5
"""The share of different cells from which on each cell is read by itself."""

Reading = Callable[[pl.Expr], pl.Expr]
"""Turns a column of cells into what they say."""


def read_distinct(cells: pl.Series, reading: Reading) -> pl.Series:
    """Return what each cell of a column says; an empty one says nothing."""
    different = cells.drop_nulls().unique()
    if len(different) > WORTH_IT * len(cells):
        return _read(cells, reading)
    return cells.replace_strict(
        different, _read(different, reading), default=None, return_dtype=pl.String
    )


def _read(cells: pl.Series, reading: Reading) -> pl.Series:
    # Only a lazy frame takes a step once that stands in an expression several times.
    frame = cells.to_frame("cell").lazy().select(reading(pl.col("cell")).alias("read"))
    return frame.collect()["read"].alias(cells.name)
