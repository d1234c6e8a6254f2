"""Laws on a grade as data: plausible figures in the right units, each with a source."""

from typing import get_args, get_type_hints

from qa_engine.depletion import Grade, ResinModel
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.testing.law import BrokenLawError, Law
from qa_engine.units import CACO3_G_PER_EQ, conversion

COMPLETE = "model-is-complete"
SOURCES = "figures-have-a-source"
VALIDITY = "validity-is-stated"
CAPACITY = "capacity-in-equivalents-per-litre"
SPREAD = "capacity-has-a-spread"
FIGURES = "figures-are-those-of-a-resin"
FREE = "grade-is-not-taken"

BEDS = get_args(get_type_hints(Grade)["bed"])

LEAST_EQ_L, MOST_EQ_L = 0.05, 5.0
"""What a litre of moist resin may hold. Strong-acid resin holds 1.8 to 2.0 eq/L (M. L. Davis, Water
and Wastewater Engineering, p. 8-5), weak-acid resin more than twice that, a worn mixed bed a few
tenths: the bounds are common practice, no published source.
"""

MISTAKEN = {
    "kgr/ft3 as CaCO3": conversion("eq/L", "kgr/ft3 as CaCO3").factor,
    "eq/ft3": conversion("ft3", "L").factor,
    "meq/L": 1000.0,
    "g/L as CaCO3": CACO3_G_PER_EQ,
    "eq/mL": 1e-3,
}
"""Units that a capacity may have been left in, and how many of them make one eq/L."""

USUAL_EQ_L = (0.2, 2.5)

RANGES = {
    "outlet_after_change_mg_l": (0.0, 100.0, "mg/L"),
    "least_flow_bv_h": (0.5, 200.0, "BV/h; 1 gpm/ft3 is 8.02 BV/h"),
    "greatest_flow_bv_h": (0.5, 500.0, "BV/h; 1 gpm/ft3 is 8.02 BV/h"),
    "density_kg_l": (0.5, 1.5, "kg/L; 50 lb/ft3 is 0.80 kg/L"),
    "ph_low": (0.0, 14.0, "pH"),
    "ph_high": (0.0, 14.0, "pH"),
    "greatest_temperature_deg_c": (20.0, 150.0, "degC"),
}
"""What figures of a grade can be, in the unit in which they are asked for."""

SHARPNESS_RANGES = {"transfer_units": (1.0, 1000.0), "sd_log": (0.01, 2.0)}

IN_ORDER = (("least_flow_bv_h", "greatest_flow_bv_h"), ("ph_low", "ph_high"))
NO_SOURCE = ("", "?", "n/a", "none", "tbd", "todo", "unknown", "not stated")


def _complete(model: ResinModel) -> None:
    wrong = _what_is_missing(model)
    if wrong:
        raise BrokenLawError(
            COMPLETE, wrong, "", "follow qa_engine.depletion.ResinModel and Grade to the letter"
        )


def _what_is_missing(model: object) -> str | None:
    if not isinstance(model, ResinModel):
        return f"{model!r} lacks one of grade, load_eq_l and outlet_mg_l"
    if not isinstance(model.grade, Grade):
        return f"its grade is {model.grade!r}, not a Grade"
    name = model.grade.name
    if not name or name != " ".join(name.split()) or not name.isprintable():
        return f"{name!r} is no name that crews could write in a record"
    if model.grade.bed not in BEDS:
        return f"its bed is {model.grade.bed!r}, not one of {', '.join(BEDS)}"
    return None


def _sources(model: ResinModel) -> None:
    grade = model.grade
    sources = {
        "capacity.source": grade.capacity.source,
        "flow_source": grade.flow_source,
        "sharpness.source": grade.sharpness.source,
    }
    for name, source in sources.items():
        if source.strip(" .").casefold() in NO_SOURCE:
            raise BrokenLawError(
                SOURCES,
                f"{name} of grade '{grade.name}' is {source!r}: nobody can look the figures up",
                "",
                "name the data sheet, standard or book with its place; where nothing is published,"
                " say 'common practice, no published source'",
            )


def _validity(model: ResinModel) -> None:
    if model.grade.validity.strip(" .").casefold() in NO_SOURCE:
        raise BrokenLawError(
            VALIDITY,
            f"grade '{model.grade.name}' does not say for what it holds",
            "",
            "say in Grade.validity, in one sentence, for which waters and flows",
        )


def _capacity(model: ResinModel) -> None:
    mean = model.grade.capacity.mean_eq_l
    if not LEAST_EQ_L <= mean <= MOST_EQ_L:
        raise BrokenLawError(
            CAPACITY,
            f"a litre of '{model.grade.name}' is said to hold {mean:g} eq, and no resin holds less "
            f"than {LEAST_EQ_L:g} or more than {MOST_EQ_L:g}{_looks_like(mean)}",
            "",
            "state equivalents per litre of moist resin (meq/mL is the same number); "
            "qa_engine.units.conversion has the factors",
        )


def _looks_like(mean: float) -> str:
    low, high = USUAL_EQ_L
    units = [unit for unit, factor in MISTAKEN.items() if low <= mean / factor <= high]
    return f"; it may have been left in {' or '.join(units)}" if units else ""


def _spread(model: ResinModel) -> None:
    capacity = model.grade.capacity
    if not 0.0 < capacity.sd_eq_l <= capacity.mean_eq_l:
        raise BrokenLawError(
            SPREAD,
            f"the capacity of '{model.grade.name}' is {capacity.mean_eq_l:g} eq/L with a standard "
            f"deviation of {capacity.sd_eq_l:g}",
            "",
            "state one above 0 and at most the mean, in eq/L: lots differ, and without a spread "
            "readings could teach nothing",
        )


def _figures(model: ResinModel) -> None:
    grade, name = model.grade, model.grade.name
    for figure, (low, high, unit) in RANGES.items():
        stated = getattr(grade, figure)
        if stated is not None and not low <= stated <= high:
            _refuse(f"{figure} of '{name}' is {stated}", f"one from {low:g} to {high:g} {unit}")
    for figure, (low, high) in SHARPNESS_RANGES.items():
        stated = getattr(grade.sharpness, figure)
        if not low <= stated <= high:
            _refuse(f"sharpness.{figure} of '{name}' is {stated}", f"one from {low:g} to {high:g}")
    for least, most in IN_ORDER:
        low, high = getattr(grade, least), getattr(grade, most)
        if low is not None and high is not None and low >= high:
            _refuse(
                f"{least} of '{name}' is {low} and {most} {high}",
                "the first below the second",
            )


def _refuse(wrong: str, expected: str) -> None:
    raise BrokenLawError(FIGURES, wrong, "", f"state {expected}; None, if it may, where unknown")


def _free(model: ResinModel) -> None:
    for entry in installed_plugins():
        other = open_host([entry]).models.get(model.grade.name)
        if other is not None and not _is_one(other.model, model):
            raise BrokenLawError(
                FREE,
                f"the grade '{model.grade.name}' is spoken for by the plugin '{entry.name}', and "
                "two models for one grade are both refused",
                "",
                "give the grade a name of its own, or uninstall the other plugin",
            )


def _is_one(one: object, other: object) -> bool:
    """Tell whether two models are of one class: the plugin under trial may be installed itself."""
    return (type(one).__module__, type(one).__qualname__) == (
        type(other).__module__,
        type(other).__qualname__,
    )


GRADE_LAWS = (
    Law(COMPLETE, "A model has a grade, a load and an outlet.", _complete, vital=True),
    Law(SOURCES, "Figures say where they come from.", _sources),
    Law(VALIDITY, "A grade says for what it holds.", _validity),
    Law(CAPACITY, "Capacity is stated in equivalents per litre of resin.", _capacity),
    Law(SPREAD, "Capacity is stated with a standard deviation.", _spread),
    Law(FIGURES, "Flows, density, pH and temperature are those of a resin.", _figures),
    Law(FREE, "No other plugin speaks for the grade.", _free),
)
