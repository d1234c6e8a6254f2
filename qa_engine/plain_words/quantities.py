"""Quantities as people write them, with the symbols that meters and labels bear."""

import re
from datetime import timedelta

NO_BREAK = "\N{NO-BREAK SPACE}"
WITHOUT_UNIT = ("", "1", "count")
_SYMBOLS = {"uS": "µS", "degC": "°C", "degF": "°F"}
_SYMBOLS |= {"m3": "m³", "m2": "m²", "ft3": "ft³", "ft2": "ft²"}
_SYMBOL = re.compile(rf"\b(?:{'|'.join(_SYMBOLS)})\b")
_WORDS = {"d": "day", "h": "hour"}
_QUANTITY = re.compile(r"([-+0-9.eE]+) *(.*)")


def with_symbols(unit: str) -> str:
    """Return a unit as it is printed: ``µS/cm`` for ``uS/cm``."""
    return _SYMBOL.sub(lambda found: _SYMBOLS[found[0]], unit)


def quantity(written: str) -> str:
    """Return a quantity for reading, its number as written and never parted from its unit."""
    found = _QUANTITY.fullmatch(written.strip())
    if not found:
        return written
    number, unit = found[1], found[2].strip()
    if unit in WITHOUT_UNIT:
        return number
    if unit in _WORDS:
        return number + NO_BREAK + _WORDS[unit] + ("" if number == "1" else "s")
    return number + NO_BREAK + with_symbols(unit)


def term(length: timedelta) -> str:
    """Return a length of time in words: ``2 days``."""
    hours, left = divmod(length, timedelta(hours=1))
    if left:
        return quantity(f"{length / timedelta(minutes=1):g} min")
    return quantity(f"{hours} h" if hours % 24 else f"{hours // 24} d")
