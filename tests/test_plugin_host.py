"""The plugin host: what works is used, what fails is named, and one failure spoils nothing else."""

import sys
from importlib.metadata import EntryPoint
from types import ModuleType

import numpy as np
import polars as pl
import pytest

from qa_engine.depletion import Capacity, Grade, Water
from qa_engine.facts import Fact, FactGroup
from qa_engine.hookspecs import hookimpl
from qa_engine.plugin_host import installed_plugins, open_host, source_digest

GRADE = Grade(
    name="slate grey",
    bed="mixed bed",
    capacity=Capacity(0.5, 0.1, "invented"),
    lowers_tds=True,
    outlet_after_change_mg_l=1.0,
    least_flow_bv_h=8.0,
    greatest_flow_bv_h=40.0,
    flow_source="invented",
)
WATER = Water(*(np.array([100.0, 200.0]) for _ in range(7)))


class SlateGrey:
    """A model that answers as it should: a thousandth of an equivalent per mg/L."""

    grade = GRADE

    def load_eq_l(self, water):
        return water.tds_mg_l / 1000

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        return used_fraction * 0.0


def plugin(monkeypatch, name, **hooks):
    """Install a module that offers hooks, as if a package had brought it; return its entry."""
    module = ModuleType(f"plugin_{name}")
    for hook, function in hooks.items():
        setattr(module, hook, hookimpl(function))
    monkeypatch.setitem(sys.modules, module.__name__, module)
    return EntryPoint(name, module.__name__, "qa_engine")


def models(*offered):
    """Return a hook that offers models."""

    def qa_resin_models():
        return list(offered)

    return qa_resin_models


def group(find, name="shade"):
    """Return a hook that offers one fact of tanks."""

    def qa_facts():
        fact = Fact(name, "number", "how grey the resin is", "1")
        return [FactGroup(("tank",), (fact,), find)]

    return qa_facts


def reasons(host):
    return {p.name: p.reason for p in host.plugins if p.state == "failed"}


def test_what_ships_is_installed_and_loads():
    host = open_host(installed_plugins())
    assert reasons(host) == {}
    assert "standard mixed bed" in host.models
    assert all(len(p.sha256) == 64 and p.version == "0.1.0" for p in host.plugins)


def test_a_model_is_found_by_its_grade_and_answers_through_the_wall(monkeypatch):
    entry = plugin(monkeypatch, "slate", qa_resin_models=models(SlateGrey()))
    host = open_host([entry])
    assert host.models["slate grey"].load_eq_l(WATER).tolist() == [0.1, 0.2]
    assert host.models["slate grey"].plugin == "slate"


def test_a_module_that_does_not_import_fails_alone(monkeypatch):
    good = plugin(monkeypatch, "slate", qa_resin_models=models(SlateGrey()))
    host = open_host([EntryPoint("absent", "no_such_module_anywhere", "qa_engine"), good])
    assert list(reasons(host)) == ["absent"]
    assert "no_such_module_anywhere" in reasons(host)["absent"]
    assert list(host.models) == ["slate grey"]


def test_a_misspelt_hook_is_a_failure_and_not_silence(monkeypatch):
    host = open_host([plugin(monkeypatch, "slate", qa_resin_model=models(SlateGrey()))])
    assert "qa_resin_model" in reasons(host)["slate"]
    assert host.models == {}


def test_a_hook_with_arguments_that_the_manual_does_not_know_fails(monkeypatch):
    def qa_resin_models(config):
        return [SlateGrey()]

    host = open_host([plugin(monkeypatch, "slate", qa_resin_models=qa_resin_models)])
    assert "config" in reasons(host)["slate"]


def test_a_hook_that_raises_is_named_with_what_it_raised(monkeypatch):
    def qa_resin_models():
        raise KeyError("bead size")

    host = open_host([plugin(monkeypatch, "slate", qa_resin_models=qa_resin_models)])
    assert reasons(host) == {"slate": "qa_resin_models: KeyError: 'bead size'"}


def test_a_plugin_cannot_end_the_program(monkeypatch):
    def qa_resin_models():
        sys.exit(5)

    host = open_host([plugin(monkeypatch, "slate", qa_resin_models=qa_resin_models)])
    assert reasons(host) == {"slate": "qa_resin_models: SystemExit: 5"}


def test_a_reason_does_not_tell_where_a_module_lies_on_this_machine(monkeypatch, tmp_path):
    (tmp_path / "slate_module.py").write_text("a = 1\n")
    monkeypatch.syspath_prepend(tmp_path)
    host = open_host([EntryPoint("slate", "slate_module:missing", "qa_engine")])
    assert "missing" in reasons(host)["slate"]
    assert str(tmp_path) not in reasons(host)["slate"]


@pytest.mark.parametrize("offer", ["a text", 3, None])
def test_a_hook_that_offers_something_else_fails(monkeypatch, offer):
    host = open_host([plugin(monkeypatch, "slate", qa_resin_models=models(offer))])
    assert "expected ResinModel" in reasons(host)["slate"]


def test_two_models_for_one_grade_are_both_refused_whatever_the_order(monkeypatch):
    one = plugin(monkeypatch, "one", qa_resin_models=models(SlateGrey()))
    two = plugin(monkeypatch, "two", qa_resin_models=models(SlateGrey()))
    for entries in ([one, two], [two, one]):
        host = open_host(entries)
        assert host.models == {}
        assert reasons(host)["one"] == "several models for grade 'slate grey': one, two"


def test_two_plugins_of_one_name_are_both_refused(monkeypatch):
    one = plugin(monkeypatch, "slate", qa_resin_models=models(SlateGrey()))
    host = open_host([one, EntryPoint("slate", "another_module", "qa_engine")])
    assert "two installed plugins" in reasons(host)["slate"]
    assert host.models == {}


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (np.array([0.1]), "shape (1,), expected (2,)"),
        (np.array([0.1, np.nan]), "NaN"),
        (np.array([0.1, np.inf]), "infinity"),
        (np.array([0.1, -0.1]), "negative"),
        ("many", "could not convert"),
    ],
)
def test_a_model_that_answers_wrongly_gives_nothing_and_is_named(monkeypatch, answer, said):
    class Wrong(SlateGrey):
        def load_eq_l(self, water):
            return answer

    host = open_host([plugin(monkeypatch, "slate", qa_resin_models=models(Wrong()))])
    assert np.isnan(host.models["slate grey"].load_eq_l(WATER)).all()
    assert said in reasons(host)["slate"]


def asked_for_an_outlet(monkeypatch, answer, used, transfer_units=None):
    """Return what comes through the wall for an outlet, and why the plugin failed, if it did."""

    class Answers(SlateGrey):
        def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
            units = 1.0 if transfer_units is None else transfer_units
            return answer(used_fraction * water.tds_mg_l * units + 0.0 * np.nan_to_num(flow_bv_h))

    host = open_host([plugin(monkeypatch, "slate", qa_resin_models=models(Answers()))])
    flow = np.full(2, np.nan)
    found = host.models["slate grey"].outlet_mg_l(used, WATER, flow, transfer_units)
    return found, reasons(host).get("slate")


def test_an_outlet_is_asked_for_many_uses_and_sharpnesses_at_once(monkeypatch):
    """Uses (3, 1), waters (2,), sharpnesses (4, 1, 1): 0.5 x 200 x 3 = 300."""
    used, units = np.array([[0.0], [0.5], [1.0]]), np.arange(4.0).reshape(4, 1, 1)
    found, reason = asked_for_an_outlet(monkeypatch, lambda right: right, used, units)
    assert reason is None
    assert found.shape == (4, 3, 2)
    assert found[3, 1, 1] == 300.0


def test_what_is_unknown_in_an_outlet_may_stay_so_and_nothing_else(monkeypatch):
    used = np.array([[0.5], [np.nan]])
    found, reason = asked_for_an_outlet(monkeypatch, lambda right: right, used)
    assert reason is None
    assert np.isnan(found).tolist() == [[False, False], [True, True]]


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (lambda right: right[0], "shape (2,), expected (3, 2)"),
        (lambda right: right * np.nan, "NaN"),
        (lambda right: right - 1000.0, "negative"),
    ],
)
def test_an_outlet_of_a_wrong_kind_is_nothing_and_its_plugin_is_named(monkeypatch, answer, said):
    used = np.array([[0.0], [0.5], [1.0]])
    found, reason = asked_for_an_outlet(monkeypatch, answer, used, np.array([1.0]))
    assert np.isnan(found).all()
    assert found.shape == (3, 2)
    assert said in reason


@pytest.mark.parametrize(
    ("find", "said"),
    [
        (lambda subjects, past: None, "expected a polars DataFrame"),
        (lambda subjects, past: pl.DataFrame({"shade": [1.0]}), "1 rows for 2 subjects"),
        (lambda subjects, past: pl.DataFrame({"hue": [1.0, 2.0]}), "no column 'shade'"),
        (lambda subjects, past: pl.DataFrame({"shade": [1.0, float("nan")]}), "NaN"),
        (lambda subjects, past: pl.DataFrame({"shade": ["pale", "dark"]}), "InvalidOperation"),
        (lambda subjects, past: 1 / 0, "ZeroDivisionError"),
    ],
)
def test_facts_of_a_wrong_kind_are_null_and_their_plugin_is_named(monkeypatch, find, said):
    host = open_host([plugin(monkeypatch, "slate", qa_facts=group(find))])
    found = host.groups[0].find(pl.DataFrame({"subject": ["K1", "K2"]}), None)
    assert found["shade"].to_list() == [None, None]
    assert said in reasons(host)["slate"]


def test_facts_that_are_right_pass_unchanged(monkeypatch):
    find = lambda subjects, past: pl.DataFrame({"shade": [0.25, None]})  # noqa: E731
    host = open_host([plugin(monkeypatch, "slate", qa_facts=group(find))])
    found = host.groups[0].find(pl.DataFrame({"subject": ["K1", "K2"]}), None)
    assert found["shade"].to_list() == [0.25, None]
    assert (reasons(host), host.groups[0].provider) == ({}, "slate")


@pytest.mark.parametrize("name", ["charge_rinses", "bore"])
def test_a_fact_that_exists_already_is_refused(monkeypatch, name):
    find = lambda subjects, past: pl.DataFrame({name: [0.0, 0.0]})  # noqa: E731
    host = open_host([plugin(monkeypatch, "slate", qa_facts=group(find, name))])
    assert f"fact '{name}' of tank exists already" in reasons(host)["slate"]
    assert host.groups == ()


@pytest.mark.parametrize(
    ("unit", "said"), [("shades", "'shades' is not a unit"), (None, "numbers have a unit")]
)
def test_a_fact_with_a_unit_that_nobody_knows_is_refused(monkeypatch, unit, said):
    def qa_facts():
        fact = Fact("shade", "number", "how grey the resin is", unit)
        return [FactGroup(("tank",), (fact,), lambda subjects, past: subjects)]

    host = open_host([plugin(monkeypatch, "slate", qa_facts=qa_facts)])
    assert said in reasons(host)["slate"]
    assert host.groups == ()


def test_a_plugin_that_failed_before_is_named_and_not_called(monkeypatch):
    def qa_resin_models():
        pytest.fail("a plugin that failed must not be called again")

    entry = plugin(monkeypatch, "slate", qa_resin_models=qa_resin_models)
    host = open_host([entry], {"slate": "it broke"})
    assert reasons(host) == {"slate": "it broke"}


def test_a_reason_is_one_plain_line_of_bounded_length(monkeypatch):
    def qa_resin_models():
        raise ValueError("\x1b[31mred\n" + "x" * 5000)

    host = open_host([plugin(monkeypatch, "slate", qa_resin_models=qa_resin_models)])
    reason = reasons(host)["slate"]
    assert len(reason) == 300
    assert reason.isprintable()


def test_the_digest_changes_with_the_source(tmp_path):
    module = ModuleType("slate")
    module.__file__ = str(tmp_path / "slate.py")
    (tmp_path / "slate.py").write_text("a = 1\n")
    before = source_digest(module)
    (tmp_path / "slate.py").write_text("a = 2\n")
    assert before != source_digest(module)
