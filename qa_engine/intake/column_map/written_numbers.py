"""Numbers as people write them: decimal commas, thousands apart, units behind them."""

import polars as pl

from qa_engine.fields import NUMBER
from qa_engine.intake.batch import NOT_READ
from qa_engine.intake.column_map.column_map import COMMA, POINT
from qa_engine.intake.column_map.unit_words import UNIT_WORDS
from qa_engine.intake.workbook import TYPED

_PARTS = r"^(?<number>[+-]?(?:[0-9][0-9., '\x{2019}]*|[.,][0-9]+))(?<unit>[^0-9., '+\-].*)?$"
_APART = {POINT: ",", COMMA: "."}
_SIGN = {POINT: ".", COMMA: ","}


def numbers_read(cell: pl.Expr, decimal: str) -> pl.Expr:
    """Return cells of numbers as our fields take them, those that are none with ``NOT_READ``.

    ``1.234,5 Liter`` becomes ``1234.5 L`` where the decimal sign is a comma. Thousands may be
    apart by the other sign, a space or an apostrophe, in threes. A typed number stays as it is.
    """
    parts = cell.str.extract_groups(_PARTS)
    written = parts.struct.field("number").str.strip_chars_end(" ")
    apart, sign = _APART[decimal], _SIGN[decimal]
    digits = written.str.replace_all(rf"[{apart} '\x{{2019}}]", "").str.replace(
        sign, ".", literal=True
    )
    number = pl.when(written.str.contains(_shape(apart, sign))).then(digits)
    unit = parts.struct.field("unit").str.strip_chars(" ")
    known = unit.str.to_lowercase().replace_strict(
        list(UNIT_WORDS), list(UNIT_WORDS.values()), default=unit
    )
    read = pl.when(unit.is_null()).then(number).otherwise(number + " " + known)
    typed = cell.str.starts_with(TYPED)
    return (
        pl.when(cell.is_null())
        .then(None)
        .when(typed)
        .then(cell.str.strip_prefix(TYPED))
        .when(cell.str.contains(f"^{NUMBER}$") & ~cell.str.contains(r"[.,]"))
        .then(cell)
        .otherwise(read.fill_null(NOT_READ + cell))
    )


def _shape(apart: str, sign: str) -> str:
    between = rf"[{apart} '\x{{2019}}]"
    whole = rf"[0-9]{{1,3}}(?:{between}[0-9]{{3}})+|[0-9]+"
    return rf"^[+-]?(?:(?:{whole})(?:[{sign}][0-9]*)?|[{sign}][0-9]+)$"


def number_wanted(decimal: str) -> str:
    """Return what would have done, for a cell that is no number."""
    return f"written with a decimal {decimal}, such as 12{_SIGN[decimal]}5"
