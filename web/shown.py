"""How values are shown on pages: the reader's units, the operator's time."""

from datetime import date, datetime

from flask import Flask
from markupsafe import Markup, escape

from qa_engine.units import conversion
from qa_engine.web.access import who
from qa_engine.web.office import register

US_UNITS = {
    "L": "gal",
    "L/min": "gpm",
    "kPa": "psi",
    "degC": "degF",
    "mm": "in",
    "kg": "lb",
}
"""What a reader of US units sees instead; TDS, conductivity and equivalents are the same."""

SIGNS = {"degC": "°C", "degF": "°F", "uS/cm": "µS/cm", "m3": "m³", "ft3": "ft³"}
NOT_KNOWN = "not known"
DIGITS = 3


def show(app: Flask) -> None:
    """Let an app's templates show amounts, days and instants."""
    app.jinja_env.filters.update(amount=amount, when=when, day=day, figure=figure)


def amount(value: float | None, unit: str) -> str:
    """Return a value with its unit, in the units of whoever reads."""
    if value is None:
        return NOT_KNOWN
    shown, number = readers_unit(unit), value
    if shown != unit:
        number = conversion(unit, shown).apply(value)
    return f"{figure(number)} {SIGNS.get(shown, shown)}"


def readers_unit(unit: str, units: str | None = None) -> str:
    """Return the unit in which whoever reads, or of the units named, sees what is kept in one."""
    reader = who()
    if units is None and reader is not None:
        units = reader.units
    return US_UNITS.get(unit, unit) if units == "US" else unit


def figure(value: float) -> str:
    """Return a number for reading: three digits that count, whole from 100 on."""
    if abs(value) >= 10 ** (DIGITS - 1):
        return f"{value:,.0f}"
    return f"{value:.{DIGITS}g}"


def when(instant: datetime | None) -> Markup:
    """Return an instant as a reader's day and time, with the exact one behind it."""
    if instant is None:
        return escape(NOT_KNOWN)
    here = instant.astimezone(register().zone)
    return Markup('<time datetime="{}">{} {:%b %Y, %H:%M}</time>').format(
        here.isoformat(), here.day, here
    )


def day(value: date | datetime | None) -> str:
    """Return a day for reading, such as ``14 May 2026``."""
    if value is None:
        return NOT_KNOWN
    here = value.astimezone(register().zone) if isinstance(value, datetime) else value
    return f"{here.day} {here:%b %Y}"
