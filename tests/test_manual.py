"""The manual for plugin authors says what the code says."""

import inspect
import re
import shlex
import sys
from pathlib import Path
from types import ModuleType

import pluggy
import pytest
from click.testing import CliRunner

from qa_engine import hookspecs
from qa_engine.cli.program import program
from qa_engine.testing import MODEL_LAWS, breaches_of_model, check_facts
from qa_engine.units import conversion

MANUAL = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```python\n(.*?)```", MANUAL, re.DOTALL)
HOOKS = {
    name: function
    for name, function in vars(hookspecs).items()
    if inspect.isfunction(function) and name.startswith("qa_")
}


def example(part):
    """Return what the first piece of code in the manual that holds a text defines."""
    code = next(one for one in EXAMPLES if part in one)
    scope = {"__name__": "manual"}
    exec(compile(code, "DEVELOPERS.md", "exec"), scope)
    return scope


@pytest.mark.parametrize("name", sorted(HOOKS))
def test_every_hook_is_in_the_manual_with_its_arguments(name):
    arguments = ", ".join(inspect.signature(HOOKS[name]).parameters)
    assert f"`{name}({arguments})`" in MANUAL


def test_the_manual_names_no_hook_that_does_not_exist():
    assert set(re.findall(r"`(qa_[a-z_]+)\(", MANUAL)) == set(HOOKS)


def test_every_function_with_the_prefix_of_hooks_is_one():
    manager = pluggy.PluginManager(hookspecs.PROJECT)
    manager.add_hookspecs(hookspecs)
    assert {name for name in HOOKS if manager.parse_hookspec_opts(hookspecs, name)} == set(HOOKS)


def test_the_test_in_the_manual_tries_the_model_in_the_manual(monkeypatch):
    module = ModuleType("tidal_grey")
    vars(module).update(example("class TidalGrey"))
    monkeypatch.setitem(sys.modules, "tidal_grey", module)
    tried = example("MODEL_LAWS")["test_the_model_keeps"]
    for law in MODEL_LAWS:
        tried(law)


def test_the_breach_in_the_manual_is_what_the_kit_says():
    scope = example("class TidalGrey")

    class Left(scope["TidalGrey"]):
        def load_eq_l(self, water):
            return 1000.0 * super().load_eq_l(water)

    (breach,) = breaches_of_model(Left())
    assert f"```\n{breach}\n```" in MANUAL


def test_the_facts_in_the_manual_keep_every_law_of_the_kit():
    check_facts(example("COLOUR = FactGroup")["COLOUR"])


def test_the_package_of_the_manual_is_the_one_that_is_written(tmp_path):
    """The command of the walk-through, and the figures of its data sheet."""
    (command,) = re.findall(r"^qa-engine (models new .*)$", MANUAL, re.MULTILINE)
    asked = [*shlex.split(command), "--folder", str(tmp_path)]
    assert CliRunner().invoke(program, asked).exit_code == 0
    scope = {"__name__": "tidal_grey"}
    exec((tmp_path / "tidal-grey" / "tidal_grey.py").read_text(encoding="utf-8"), scope)
    (written,), (told,) = (one["qa_resin_models"]() for one in (scope, example("class TidalGrey")))
    for part in ("name", "least_flow_bv_h", "greatest_flow_bv_h", "density_kg_l", "validity"):
        assert getattr(written.grade, part) == getattr(told.grade, part)
    assert written.grade.capacity.mean_eq_l == told.grade.capacity.mean_eq_l


def test_the_walk_through_is_right_in_its_units():
    """A pound is 0.45359237 kg, a cubic foot 28.316847 L; 0 degC are 32 degF, a degree 9/5."""
    density = conversion("lb", "kg").factor / conversion("ft3", "L").factor
    assert 45 * density == pytest.approx(0.72, abs=1e-3)
    celsius = conversion("degF", "degC")
    assert 104 * celsius.factor + celsius.shift == pytest.approx(40.0)
    for told in ("45 lb/ft3", "104 degF", "`density_kg_l` 0.72", "deg_c` 40"):
        assert told in MANUAL
