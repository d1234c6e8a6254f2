"""Columns of numbers: plain ones at once, those with a unit of their own on a second look."""

import polars as pl

from qa_engine.errors import UnitError
from qa_engine.fields import NOT_A_MEASUREMENT, NUMBER, Quantity
from qa_engine.units import Conversion, conversion

_PLAIN = rf"^{NUMBER}$"
_WITH_UNIT = rf"^(?<number>{NUMBER}) *(?<unit>[^0-9 _.,'].*)?$"


def quick_numbers(column: pl.Expr, dtype: pl.DataType, field: Quantity, unit: str) -> pl.Expr:
    """Return the numbers of a column in the field's unit; null where the quick look says no.

    Args:
        column: the cells.
        dtype: their type, text or ``Float64``.
        field: what the column fills.
        unit: the unit in which plain numbers are written.
    """
    number = column
    if dtype == pl.String:
        number = pl.when(column.str.contains(_PLAIN)).then(column).cast(pl.Float64, strict=False)
    if unit != field.unit:
        number = _converted(number, conversion(unit, field.unit))
    return _within(number, field)


def slow_numbers(cells: pl.Series, field: Quantity, unit: str) -> tuple[pl.Series, pl.Series]:
    """Return the numbers of cells that the quick look did not take, and which hold no measurement.

    The unit in a cell wins over the unit of its column.
    """
    if cells.dtype != pl.String:
        return pl.Series([None] * len(cells), dtype=pl.Float64), ~cells.is_finite()
    text = cells.str.strip_chars(" ")
    parts = text.str.extract_groups(_WITH_UNIT).struct.unnest()
    written = parts["unit"].fill_null(unit)
    factors, shifts = _factors(written.unique().to_list(), field.unit)
    number = parts["number"].cast(pl.Float64, strict=False)
    factor = written.replace_strict(factors, default=None, return_dtype=pl.Float64)
    shift = written.replace_strict(shifts, default=None, return_dtype=pl.Float64)
    values = pl.select(_within(pl.lit(number) * factor + shift, field)).to_series()
    return values, text.str.to_lowercase().is_in(NOT_A_MEASUREMENT)


def _factors(units: list[str], wanted: str) -> tuple[dict[str, float], dict[str, float]]:
    known: dict[str, Conversion] = {}
    for unit in units:
        try:
            known[unit] = conversion(unit, wanted) if unit != wanted else Conversion(1.0, 0.0)
        except UnitError:
            continue
    factors = {unit: one.factor for unit, one in known.items()}
    return factors, {unit: one.shift for unit, one in known.items()}


def _converted(number: pl.Expr, by: Conversion) -> pl.Expr:
    return number * by.factor + by.shift if by.shift else number * by.factor


def _within(number: pl.Expr, field: Quantity) -> pl.Expr:
    """Return the numbers that a field takes, null for others; never a minus zero."""
    number = pl.when(number == 0.0).then(0.0).otherwise(number)
    fits = number.is_between(field.low, field.high)
    if field.whole:
        fits &= number == number.floor()
    return pl.when(fits).then(number)
