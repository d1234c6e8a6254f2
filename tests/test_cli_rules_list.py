"""``qa-engine rules list``: a table on the screen, a handbook in a file."""

import pytest
from click.testing import CliRunner
from freezegun import freeze_time

from qa_engine.cli.rules_list import list_rules

RULES = """\
rule_set: house
title: House
edition: 2026-06
in_force: {from: 2026-06-01}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet water below the house limit
    subject: reading
    requires: outlet_tds < house_limit
    limits:
      house_limit: {is: 20 mg/L, basis: common practice}
    grading: minor
    says: Outlet water read {outlet_tds}.
    correction: Change the resin.
    examples:
      conforms: [{outlet_tds: 19.9 mg/L}]
      does_not_conform: [{outlet_tds: 20 mg/L}]
      undecided: [{}]
"""


@pytest.fixture
def house(tmp_path, monkeypatch):
    (tmp_path / "house.yaml").write_text(RULES)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def listed(*arguments):
    result = CliRunner().invoke(list_rules, arguments)
    return result.exit_code, result.stdout, result.stderr


def test_the_rules_of_a_day_are_listed_and_editions_of_other_days_named(house):
    status, out, _ = listed("house.yaml", "--on", "2026-06-01")
    assert status == 0
    assert "House, edition 2026-06, in force from 2026-06-01" in out
    assert "outlet_tds < house_limit" in out
    _, out, _ = listed("house.yaml", "--on", "2026-05-31")
    assert "outlet_tds" not in out
    assert "Not in force on 2026-05-31: house 2026-06 (from 2026-06-01)." in " ".join(out.split())


@freeze_time("2026-05-31T12:00:00Z")
def test_by_default_the_day_is_today(house):
    _, page, _ = listed("house.yaml", "--format", "html")
    assert "No requirement is in force on 31 May 2026." in page


@pytest.mark.parametrize(
    ("form", "begins"), [("html", "<!doctype html>"), ("markdown", "# Requirements in force")]
)
def test_a_handbook_goes_to_standard_output_or_to_a_file(house, form, begins):
    arguments = ("house.yaml", "--on", "2026-06-01", "--format", form)
    status, out, err = listed(*arguments)
    assert (status, err) == (0, "")
    assert out.startswith(begins)
    status, nothing, err = listed(*arguments, "--out", "handbook")
    assert (status, nothing, err) == (0, "", "Handbook written to handbook.\n")
    assert (house / "handbook").read_bytes() == out.encode()


def test_a_table_goes_to_a_file_too(house):
    assert listed("house.yaml", "--on", "2026-06-01", "--out", "rules.txt")[0] == 0
    assert "outlet-below-house-limit" in (house / "rules.txt").read_text()


def test_without_paths_the_rules_that_ship_are_listed():
    status, out, _ = listed("--on", "2026-06-01", "--format", "markdown")
    assert status == 0
    assert "## Rinse water" in out


def test_a_day_that_is_none_is_refused(house):
    status, _, err = listed("house.yaml", "--on", "2026-02-30")
    assert status == 2
    assert "2026-02-30" in err
