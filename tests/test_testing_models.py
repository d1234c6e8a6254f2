"""The kit for resin models: right ones pass, each planted fault meets the law meant for it."""

import gc
import json
import re
import subprocess
import sys
import time
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import pytest

from qa_engine.depletion import Capacity
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.testing import MODEL_LAWS, BrokenLawError, breaches_of_model, check_model

HERE = Path(__file__).parent


def planted():
    """Return the module of planted models, which lies on no path of imports."""
    spec = spec_from_file_location("planted_models", HERE / "planted_models.py")
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


MODELS = planted()
GRADE, PLANTED, Right = MODELS.GRADE, MODELS.PLANTED, MODELS.Right
capacity, graded = MODELS.capacity, MODELS.graded
LAWS = {law.name: law for law in MODEL_LAWS}
HOST = open_host(installed_plugins())


def broken_by(fault):
    """Return how the law that is meant for a planted fault breaks on it."""
    model, law = PLANTED[fault]
    with pytest.raises(BrokenLawError) as broken:
        LAWS[law].check(model)
    return broken.value


def names(model):
    return [breach.law for breach in breaches_of_model(model)]


@pytest.mark.parametrize("law", MODEL_LAWS, ids=str)
def test_a_right_model_keeps(law):
    law.check(Right())


@pytest.mark.parametrize("grade", sorted(HOST.models))
def test_every_model_that_ships_keeps_every_law(grade):
    check_model(HOST.models[grade].model)


@pytest.mark.parametrize("fault", PLANTED)
def test_a_planted_fault_is_caught_by_the_law_that_is_meant_for_it(fault):
    broken = broken_by(fault)
    assert broken.law == PLANTED[fault][1]
    assert broken.wrong
    assert broken.would_do


def test_every_law_has_a_fault_planted_for_it():
    assert {law for _, law in PLANTED.values()} == set(LAWS)


@pytest.mark.parametrize(
    "fault",
    [
        "load in meq/L",
        "load is NaN without an analysis",
        "leakage falls",
        "raises on water that may be logged",
        "capacity per cubic foot",
    ],
)
def test_one_fault_breaks_one_law(fault):
    model, law = PLANTED[fault]
    assert names(model) == [law]


def test_what_is_no_model_is_told_so_and_nothing_else():
    for fault in ("no outlet", "bed of no known kind"):
        assert names(PLANTED[fault][0]) == ["model-is-complete"]
    assert names(object()) == ["model-is-complete"]


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        # TDS 10 mg/L at 0.5 is 20 uS/cm, at 109.5 uS/cm per meq/L 0.1827 meq/L.
        (
            "load in meq/L",
            "the load is 0.1827 eq/L where the ions of the water are about 0.0001827",
        ),
        ("load in meq/L", "as if left in meq/L"),
        ("load in g/L as CaCO3", "as if left in g/L as CaCO3"),
        ("capacity in meq/L", "it may have been left in meq/L"),
        ("capacity per cubic foot", "or eq/ft3"),
        ("capacity in kilograins", "it may have been left in kgr/ft3 as CaCO3"),
        ("raises on water that may be logged", "load_eq_l raised ValueError: pH beyond 4 to 10"),
        (
            "outlet in the shape of the water",
            "returned shape (2, 1); its arguments broadcast to (2, 3)",
        ),
        ("asks the clock", "the model asked the clock (datetime.now)"),
        ("reads a file", "the model asked a file (io.open)"),
        ("leakage falls", "falls from 10 mg/L at a used fraction of 1.5 to 9.5 at 1.55"),
        ("grade of another plugin", "is spoken for by the plugin 'mixed_bed'"),
        ("density in g/L", "density_kg_l of 'planted grey' is 720"),
    ],
)
def test_a_breach_says_what_is_wrong(fault, said):
    assert said in broken_by(fault).wrong.replace("_io.", "io.")


@pytest.mark.parametrize(
    ("fault", "shown"),
    [
        ("load in meq/L", "inlet water of TDS 10 mg/L, factor 0.5"),
        ("load of unknown water made up", "water of which nothing is known, used fraction 0.5"),
        ("raises on water that may be logged", "inlet water of pH 0, used fraction 0, 0.125 "),
    ],
)
def test_a_breach_shows_the_smallest_input(fault, shown):
    assert broken_by(fault).shown_by.startswith(shown)


def test_a_breach_reads_as_law_fault_input_and_what_would_do():
    lines = str(broken_by("load below zero")).splitlines()
    assert lines[0].startswith("load-above-zero: the load is -0.0001826")
    assert lines[1] == "  Shown by: inlet water of TDS 10 mg/L, factor 0.5."
    assert lines[2].startswith("  What would do: ")
    assert len(lines) == 3


def test_all_breaches_are_told_at_once():
    model = graded(capacity=Capacity(500.0, 0.0, ""), validity="")
    with pytest.raises(AssertionError) as told:
        check_model(model)
    for law in ("figures-have-a-source", "validity-is-stated", "capacity-has-a-spread"):
        assert f"\n\n{law}: " in str(told.value)


@pytest.mark.parametrize(
    ("mean", "law"),
    [
        (0.0499, "capacity-in-equivalents-per-litre"),
        (0.08, None),
        (5.0, None),
        (5.01, "capacity-in-equivalents-per-litre"),
    ],
)
def test_a_capacity_is_one_that_resins_have(mean, law):
    check = LAWS["capacity-in-equivalents-per-litre"].check
    if law is None:
        check(capacity(mean, 0.02))
    else:
        with pytest.raises(BrokenLawError):
            check(capacity(mean, 0.02))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"least_flow_bv_h": 0.1}, "least_flow_bv_h"),
        ({"greatest_flow_bv_h": 8000.0}, "greatest_flow_bv_h"),
        ({"outlet_after_change_mg_l": -1.0}, "outlet_after_change_mg_l"),
        ({"ph_low": 9.0, "ph_high": 4.0}, "ph_low of 'planted grey' is 9.0 and ph_high 4.0"),
        ({"greatest_temperature_deg_c": 313.0}, "greatest_temperature_deg_c"),
        ({"density_kg_l": float("nan")}, "density_kg_l"),
    ],
)
def test_figures_beyond_those_of_resins_are_named(changes, said):
    with pytest.raises(BrokenLawError, match=re.escape(said)):
        LAWS["figures-are-those-of-a-resin"].check(graded(**changes))


def test_what_a_grade_need_not_state_may_be_missing():
    check = LAWS["figures-are-those-of-a-resin"].check
    check(graded(density_kg_l=None, ph_low=None, ph_high=None, greatest_temperature_deg_c=None))


def test_a_bed_that_does_not_lower_tds_need_not_hold_any():
    """A softener gives at once what it gets, in TDS."""

    class Softener(Right):
        grade = graded(name="planted soft", bed="softening", lowers_tds=False).grade

        def read(self, water, share):
            return super().read(water, 1.0 + 0.0 * share)

    assert names(Softener()) == []


def test_the_same_trials_are_made_in_every_process():
    """Two fresh interpreters, with different hash seeds, tell the same of one fault."""
    code = (
        "import json, sys; sys.path.insert(0, sys.argv[1])\n"
        "from planted_models import PLANTED\n"
        "from qa_engine.testing import MODEL_LAWS, BrokenLawError\n"
        "model, name = PLANTED['sharpness of another grade']\n"
        "law, = (one for one in MODEL_LAWS if one.name == name)\n"
        "try: law.check(model)\n"
        "except BrokenLawError as error: print(json.dumps(str(error)))\n"
    )
    told = [
        subprocess.run(
            [sys.executable, "-c", code, str(HERE)],
            env={"PYTHONHASHSEED": seed, "PATH": ""},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    ]
    assert told[0] == told[1]
    assert "no-sharpness-means-that-of-the-grade" in json.loads(told[0])


@pytest.mark.parametrize("law", ["asks-nothing-but-its-arguments", "no-loop-over-waters"])
def test_what_python_does_aside_is_not_held_against_a_model(law):
    """A callback asks the clock whenever garbage is collected, which is all the time."""
    times, thresholds = [], gc.get_threshold()

    def at_every_collection(phase, info):
        times.append(time.perf_counter())

    gc.callbacks.append(at_every_collection)
    gc.set_threshold(1)
    try:
        LAWS[law].check(Right())
    finally:
        gc.set_threshold(*thresholds)
        gc.callbacks.remove(at_every_collection)
    assert times
    assert gc.isenabled()


def test_the_law_of_free_grades_lets_the_installed_plugin_try_its_own_model():
    LAWS["grade-is-not-taken"].check(HOST.models["softening"].model)
    LAWS["grade-is-not-taken"].check(graded(name=GRADE.name))
