"""What people write for the units of the closed list, in heads and in cells."""

from qa_engine.units import unit_names

_SPELLINGS = {
    "L": "l liter litre liters litres ltr ltrs lit lt",
    "m3": "m3 cbm cubic-metres cubic-meters kubikmeter",
    "gal": "gal gals gallon gallons us-gal us-gallons us-gallon gal. gals.",
    "ft3": "ft3 cf cuft cubic-feet",
    "L/min": "l/min lpm l/m liter/min litres/min liters/min l-pro-min",
    "L/h": "l/h lph l/hr",
    "gpm": "gpm gal/min gallons/min us-gpm",
    "kPa": "kpa",
    "bar": "bar bars",
    "psi": "psi psig lbs/in2",
    "degC": "c degc deg-c celsius \N{DEGREE SIGN}c grad-c",
    "degF": "f degf deg-f fahrenheit \N{DEGREE SIGN}f",
    "kg": "kg kgs kilo kilos kilogramm",
    "g": "g",
    "lb": "lb lbs pound pounds lb. lbs.",
    "mm": "mm",
    "cm": "cm",
    "in": "in inch inches in. zoll \N{QUOTATION MARK}",
    "min": "min mins minute minutes minuten min.",
    "h": "h hr hrs hour hours std stunden",
    "s": "s sec secs seconds sek",
    "d": "days tage",
    "mg/L": "mg/l ppm parts-per-million tds-ppm",
    "g/L": "g/l",
    "uS/cm": "us/cm us \N{MICRO SIGN}s/cm \N{MICRO SIGN}s \N{GREEK SMALL LETTER MU}s/cm "
    "\N{GREEK SMALL LETTER MU}s microsiemens",
    "mS/cm": "ms/cm ms",
    "mg/L as CaCO3": "mg/l-as-caco3 ppm-as-caco3 ppm-caco3",
    "gr/gal as CaCO3": "gpg grains grains/gal gr/gal-as-caco3",
    "%": "% percent prozent pct",
}


def _words() -> dict[str, str]:
    words = {name.lower(): name for name in unit_names()}
    for unit, spellings in _SPELLINGS.items():
        words.update({one.replace("-", " "): unit for one in spellings.split()})
    return words


UNIT_WORDS = _words()
"""The unit of the closed list for each spelling, by the spelling in lower case.

A gallon is the gallon of the United States; the imperial one is not on the list.
"""
