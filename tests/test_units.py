"""The closed list of units: every factor by its definition, and what is refused."""

from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.errors import UnitError
from qa_engine.units import CACO3_G_PER_EQ, between, conversion, unit, unit_names

GALLON_L = Fraction("3.785411784")
FOOT_M = Fraction("0.3048")
CUBIC_FOOT_L = FOOT_M**3 * 1000
GRAIN_MG = Fraction("64.79891")
CACO3_MG_PER_EQ = Fraction("50043.45")
PSI_KPA = Fraction("4.4482216152605") / Fraction("0.00064516") / 1000

# Written unit -> the unit it is compared with, and how many of those it is, as exact fractions.
FACTORS = {
    "mg/L": ("g/L", Fraction(1, 1000)),
    "mg/l": ("mg/L", Fraction(1)),
    "ppm": ("mg/L", Fraction(1)),
    "g/L": ("mg/L", Fraction(1000)),
    "mg/L as CaCO3": ("eq/L", 1 / CACO3_MG_PER_EQ),
    "gr/gal as CaCO3": ("mg/L as CaCO3", GRAIN_MG / GALLON_L),
    "kgr/ft3 as CaCO3": ("mg/L as CaCO3", 1000 * GRAIN_MG / CUBIC_FOOT_L),
    "uS/cm": ("mS/cm", Fraction(1, 1000)),
    "\N{MICRO SIGN}S/cm": ("uS/cm", Fraction(1)),
    "\N{GREEK SMALL LETTER MU}S/cm": ("uS/cm", Fraction(1)),
    "mS/cm": ("uS/cm", Fraction(1000)),
    "mg/L per uS/cm": ("mg/L per uS/cm", Fraction(1)),
    "L": ("m3", Fraction(1, 1000)),
    "l": ("L", Fraction(1)),
    "m3": ("L", Fraction(1000)),
    "m\N{SUPERSCRIPT THREE}": ("L", Fraction(1000)),
    "gal": ("L", GALLON_L),
    "gal (US)": ("L", GALLON_L),
    "ft3": ("L", CUBIC_FOOT_L),
    "ft\N{SUPERSCRIPT THREE}": ("L", CUBIC_FOOT_L),
    "L/min": ("L/h", Fraction(60)),
    "l/min": ("L/min", Fraction(1)),
    "L/h": ("L/min", Fraction(1, 60)),
    "gpm": ("L/min", GALLON_L),
    "kPa": ("bar", Fraction(1, 100)),
    "bar": ("kPa", Fraction(100)),
    "psi": ("kPa", PSI_KPA),
    "kg": ("g", Fraction(1000)),
    "g": ("kg", Fraction(1, 1000)),
    "lb": ("kg", Fraction("0.45359237")),
    "mm": ("m", Fraction(1, 1000)),
    "cm": ("mm", Fraction(10)),
    "m": ("mm", Fraction(1000)),
    "in": ("mm", Fraction("25.4")),
    "s": ("min", Fraction(1, 60)),
    "min": ("s", Fraction(60)),
    "minutes": ("s", Fraction(60)),
    "h": ("min", Fraction(60)),
    "hours": ("min", Fraction(60)),
    "d": ("h", Fraction(24)),
    "day": ("h", Fraction(24)),
    "days": ("h", Fraction(24)),
    "eq": ("eq", Fraction(1)),
    "eq/L": ("meq/L", Fraction(1000)),
    "meq/L": ("mg/L as CaCO3", CACO3_MG_PER_EQ / 1000),
    "BV/h": ("gpm/ft3", CUBIC_FOOT_L / (60 * GALLON_L)),
    "m/h": ("gpm/ft2", 1000 * FOOT_M**2 / (60 * GALLON_L)),
    "gpm/ft2": ("m/h", 60 * GALLON_L / (1000 * FOOT_M**2)),
    "gpm/ft3": ("BV/h", 60 * GALLON_L / CUBIC_FOOT_L),
    "%": ("1", Fraction(1, 100)),
    "percent": ("1", Fraction(1, 100)),
    "count": ("1", Fraction(1)),
    "1": ("%", Fraction(100)),
}
OFFSET = {"degC", "degF", "\N{DEGREE SIGN}C", "\N{DEGREE SIGN}F"}


@pytest.mark.parametrize(("written", "wanted", "factor"), [(n, *f) for n, f in FACTORS.items()])
def test_factor_is_the_exact_one_to_the_last_bit(written, wanted, factor):
    found = conversion(written, wanted)
    assert found.factor == float(factor)
    assert found.shift == 0.0


def test_no_unit_of_the_list_goes_untested():
    assert set(FACTORS) | OFFSET == set(unit_names())


@pytest.mark.parametrize(
    ("written", "wanted", "number", "expected"),
    [
        ("degF", "degC", 32.0, 0.0),
        ("degF", "degC", 212.0, 100.0),
        ("degF", "degC", -40.0, -40.0),
        ("degC", "degF", 37.0, 98.6),
        ("\N{DEGREE SIGN}F", "\N{DEGREE SIGN}C", 77.0, 25.0),
    ],
)
def test_temperatures_have_a_shifted_zero(written, wanted, number, expected):
    """(32 - 32) / 1.8 = 0; (212 - 32) / 1.8 = 100; 37 x 1.8 + 32 = 98.6."""
    assert conversion(written, wanted).apply(number) == pytest.approx(expected, abs=1e-12)


def test_only_temperatures_say_that_their_zero_is_shifted():
    offset = {name for name in unit_names() if unit(name).has_offset}
    assert offset == OFFSET


@pytest.mark.parametrize(
    ("written", "hint"), [("mg/Ll", "mg/L"), ("PSI", "psi"), ("furlong", None), ("galon", "gal")]
)
def test_an_unknown_unit_is_refused_with_the_nearest_known_one(written, hint):
    with pytest.raises(UnitError) as refused:
        unit(written)
    assert f"'{written}' is not a unit known here" in str(refused.value)
    assert ("did you mean" in str(refused.value)) == (hint is not None)
    assert hint is None or f"'{hint}'" in str(refused.value)


@pytest.mark.parametrize(
    ("written", "wanted"),
    [
        ("kPa", "mg/L"),
        ("mg/L", "mg/L as CaCO3"),
        ("uS/cm", "mg/L"),
        ("L", "L/min"),
        ("degC", "kPa"),
        ("eq", "count"),
        ("BV/h", "m/h"),
    ],
)
def test_units_of_different_things_are_never_converted(written, wanted):
    with pytest.raises(UnitError) as refused:
        conversion(written, wanted)
    assert str(refused.value) == f"{written} and {wanted} do not measure the same thing"


def test_units_of_a_product_and_a_quotient_follow_the_numbers():
    """mg/L per uS/cm times uS/cm is mg/L; L over L/min is min."""
    assert (unit("mg/L per uS/cm") * unit("uS/cm")).measures_same_as(unit("mg/L"))
    assert between(unit("L") / unit("L/min"), unit("s")).factor == 60.0
    assert not (unit("L") / unit("min")).measures_same_as(unit("L"))


def test_the_equivalent_of_calcium_carbonate_is_one_number_everywhere():
    assert conversion("eq/L", "mg/L as CaCO3").factor == 1000 * CACO3_G_PER_EQ


COMPATIBLE = [
    (one, other)
    for one, other in product(unit_names(), repeat=2)
    if unit(one).measures_same_as(unit(other))
]


@settings(deadline=None, max_examples=200)
@given(pair=st.sampled_from(COMPATIBLE), number=st.floats(-1e6, 1e6))
def test_there_and_back_again_gives_the_number(pair, number):
    written, wanted = pair
    there = conversion(written, wanted).apply(number)
    back = conversion(wanted, written).apply(there)
    assert back == pytest.approx(number, rel=1e-12, abs=1e-9 if written in OFFSET else 1e-300)


@settings(deadline=None, max_examples=200)
@given(pair=st.sampled_from(COMPATIBLE), number=st.floats(0.001, 1e6), data=st.data())
def test_a_detour_over_a_third_unit_changes_nothing(pair, number, data):
    first, last = pair
    third = data.draw(st.sampled_from([other for one, other in COMPATIBLE if one == first]))
    direct = conversion(first, last).apply(number)
    detour = conversion(third, last).apply(conversion(first, third).apply(number))
    assert detour == pytest.approx(direct, rel=1e-12, abs=1e-9 if first in OFFSET else 0)


def test_a_unit_is_shown_by_its_name_whatever_it_is_made_of():
    made = unit("mg/L") * unit("psi") / unit("gal")
    assert repr(made) == "Unit(name='mg/L x psi / (gal)')"
    assert repr(unit("mg/L as CaCO3")) == "Unit(name='mg/L as CaCO3')"
