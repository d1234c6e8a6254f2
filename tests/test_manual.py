"""The manual for plugin authors says what the code says."""

import inspect
import re
from pathlib import Path

import pluggy
import pytest

from qa_engine import hookspecs

MANUAL = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
HOOKS = {
    name: function
    for name, function in vars(hookspecs).items()
    if inspect.isfunction(function) and name.startswith("qa_")
}


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


def test_the_example_of_a_plugin_in_the_manual_works():
    """The model in the manual answers for two waters as a plugin must."""
    import numpy as np

    from qa_engine.depletion import ResinModel, Water

    code = next(
        b for b in re.findall(r"```python\n(.*?)```", MANUAL, re.DOTALL) if "TidalGrey" in b
    )
    scope: dict[str, object] = {}
    exec(compile(code, "DEVELOPERS.md", "exec"), scope)
    (model,) = scope["qa_resin_models"]()  # type: ignore[operator]
    water = Water(*(np.array([100.0, 200.0]) for _ in range(7)))
    assert isinstance(model, ResinModel)
    assert (model.load_eq_l(water) > 0).all()
    fresh = model.outlet_mg_l(np.array([0.0, 0.0]), water, np.array([20.0, 20.0]))
    np.testing.assert_allclose(fresh, 0.0, atol=1e-3)
