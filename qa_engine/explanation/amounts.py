"""Numbers in explanations: short as long as that is true, in full where rounding would lie."""

from math import floor, log10

from qa_engine.wording import WITHOUT_UNIT

DIGITS = 6
"""Digits that count, unless two numbers that differ would then look alike."""


def amount(number: float, unit: str | None, digits: int = DIGITS) -> str:
    """Return a number with its unit, rounded for reading."""
    return with_unit(_plain(_rounded(number, digits)), unit)


def amounts(one: float, other: float, unit: str | None) -> tuple[str, str]:
    """Return two numbers of one unit, in full if they would look alike and are not."""
    short = _rounded(one, DIGITS), _rounded(other, DIGITS)
    shown = (one, other) if one != other and short[0] == short[1] else short
    return with_unit(_plain(shown[0]), unit), with_unit(_plain(shown[1]), unit)


def with_unit(text: str, unit: str | None) -> str:
    """Return a number's text with its unit, as people write it."""
    if unit == "d":
        return f"{text} day" if text == "1" else f"{text} days"
    return text if unit in WITHOUT_UNIT else f"{text} {unit}"


def _rounded(number: float, digits: int) -> float:
    return round(number, digits - 1 - floor(log10(abs(number)))) if number else 0.0


def _plain(number: float) -> str:
    return repr(number + 0.0).removesuffix(".0")
