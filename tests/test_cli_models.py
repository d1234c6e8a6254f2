"""``models check`` and ``models explain``, as the people who ask them read them."""

import json
from importlib.metadata import EntryPoint

import pytest
from click.testing import CliRunner

from qa_engine.cli import known_past, models_contract
from qa_engine.cli.program import program

REGISTER = """\
operator: {name: Quillmere Coach Rinse (invented), time_zone: Europe/London}
tanks:
  - {tank: T-1, vessel_volume: 28 L}
meters:
  - {meter: M-1, factor: 0.5, resolution: 1, accuracy_percent: 2}
"""
HEAD = (
    "record,kind,at,tank,meter,sampled,inlet_tds,outlet_tds,"
    "change,grade,resin_volume,rinses,water_used\n"
)
AT = "2026-05-{day:02}T{hour:02}:00:00+01:00"


def row(number, kind, day, hour, rest):
    return f"{number},{kind},{AT.format(day=day, hour=hour)},T-1,{rest}\n"


RECORDS = (
    HEAD
    + row("C-1", "resin_change", 1, 8, ",,,,emptied and refilled,standard mixed bed,20,,")
    + row("I-1", "reading", 1, 9, "M-1,flowing,180,0,,,,,")
    + row("R-1", "rinse", 2, 9, ",,,,,,,2,380")
    + row("O-1", "reading", 2, 10, "M-1,flowing,180,1,,,,,")
)


@pytest.fixture
def fleet(tmp_path):
    (tmp_path / "register.yaml").write_text(REGISTER)
    (tmp_path / "records.csv").write_text(RECORDS)
    return tmp_path


@pytest.fixture
def call(fleet):
    def run(*arguments):
        named = [str(fleet / a) if a.endswith((".csv", ".yaml")) else a for a in arguments]
        return CliRunner().invoke(program, ["models", *named])

    return run


HISTORY = ("check", "--history", "records.csv", "--register", "register.yaml")
AS_OF = ("--as-of", "2026-06-01T00:00:00Z")


def test_a_history_of_too_few_charges_is_said_to_be_that(call):
    result = call(*HISTORY, *AS_OF)
    assert result.exit_code == 0
    assert "1 charges on record, 0 scored" in result.output
    assert "still in use, the outlet below the limit" in result.output
    assert "Too few to give a figure" in result.output


def test_the_limit_is_that_of_the_rules_in_force_unless_one_is_given(call):
    assert "when its outlet reaches 20 mg/L" in call(*HISTORY, *AS_OF).output
    told = json.loads(call(*HISTORY, *AS_OF, "--limit", "12 ppm", "--format", "json").output)
    assert told["limit"] == {"value": 12.0, "unit": "mg/L"}
    assert told["left_out"] == {"in use": 1}


def test_a_limit_that_is_none_is_refused(call):
    result = call(*HISTORY, "--limit", "20 kPa")
    assert result.exit_code == 2
    assert "20 kPa" in result.output


def test_records_after_the_instant_are_not_used(call):
    told = json.loads(call(*HISTORY, "--as-of", "2026-04-01T00:00:00Z", "--format", "json").output)
    assert told["charges"] == 0


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (("check", "records.csv"), "--history"),
        (("check", "--history"), "--history"),
        (("check", "--history", "records.csv"), "--register FILE"),
    ],
)
def test_a_history_needs_records_and_a_register(call, arguments, named):
    result = call(*arguments)
    assert result.exit_code == 2
    assert named in result.output


BAD = '''
from dataclasses import dataclass

import numpy as np

from qa_engine.hookspecs import hookimpl
from qa_engine.plugins.mixed_bed import STANDARD_MIXED_BED, MixedBed


class Upside(MixedBed):
    """Gives less and less as the bed is used up."""

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        rises = super().outlet_mg_l(used_fraction, water, flow_bv_h, transfer_units)
        return np.maximum(1000.0 - rises, 0.5)


@hookimpl
def qa_resin_models():
    return [Upside()]
'''


@pytest.fixture
def plugin(tmp_path, monkeypatch):
    """Return what makes the program see one plugin of this source and no other."""

    def install(source):
        (tmp_path / "upside_down.py").write_text(source)
        monkeypatch.syspath_prepend(tmp_path)
        monkeypatch.delitem(__import__("sys").modules, "upside_down", raising=False)
        entry = EntryPoint("upside_down", "upside_down", "qa_engine")
        for module in (models_contract, known_past):
            monkeypatch.setattr(module, "installed_plugins", lambda: (entry,))

    return install


def test_a_model_that_breaks_a_law_is_told_with_what_it_breaks(call, plugin):
    plugin(BAD)
    result = call("check")
    assert result.exit_code == 1
    assert "standard mixed bed (upside_down): breaks" in result.output
    assert "Shown by:" in result.output
    told = json.loads(call("check", "--format", "json").output)
    assert told["models"][0]["plugin"] == "upside_down"
    assert told["models"][0]["broken"]


def test_a_plugin_that_fails_makes_the_answer_incomplete(call, plugin):
    plugin("raise RuntimeError('no')")
    result = call("check")
    assert result.exit_code == 3
    assert "plugin upside_down failed" in result.output
    result = call("explain", "T-1", "records.csv", "--register", "register.yaml", *AS_OF)
    assert result.exit_code == 3
    assert "no loaded model speaks for its grade" in result.output


EXPLAIN = ("explain", "T-1", "records.csv", "--register", "register.yaml")


def test_the_belief_about_a_tank_is_explained(call):
    result = call(*EXPLAIN, *AS_OF)
    assert result.exit_code == 0
    assert "T-1, charge T-1@C-1: 20 L of standard mixed bed" in result.output
    assert "What would make the band narrower" in result.output
    told = json.loads(call(*EXPLAIN, *AS_OF, "--format", "json").output)
    assert [reading["record"] for reading in told["readings"]] == ["I-1", "O-1"]


def test_what_was_believed_earlier_looks_at_no_later_record(call):
    told = json.loads(call(*EXPLAIN, "--as-of", "2026-05-01T12:00:00Z", "--format", "json").output)
    assert [reading["record"] for reading in told["readings"]] == ["I-1"]


def test_an_unknown_tank_is_refused_with_the_nearest(call):
    result = call("explain", "T-2", "records.csv", "--register", "register.yaml")
    assert result.exit_code == 2
    assert "did you mean 'T-1'?" in result.output
