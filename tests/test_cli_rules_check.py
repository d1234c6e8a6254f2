"""``qa-engine rules check``, used as its users would: with good files and with others."""

import pytest
from click.testing import CliRunner

from qa_engine.cli.rules_check import check
from qa_engine.errors import RuleSetError

FILE = """\
rule_set: house
title: House
edition: 2026-04
in_force: {from: 2026-04-01}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet water stays below the house limit
    subject: reading
    requires: outlet_tds < house_limit
    limits:
      house_limit: {is: 20.5 mg/L, basis: common practice}
    grading: minor
    says: Outlet water read {outlet_tds}.
    correction: Finish this vehicle, then change the resin.
    examples:
      conforms:
        - {outlet_tds: 20.4 mg/L}
      does_not_conform:
        - {outlet_tds: 20.5 mg/L}
        - {outlet_tds: 20.6 mg/L}
      undecided:
        - {}
"""
EXACT = "        - {outlet_tds: 20.5 mg/L}\n"
REGISTER = """\
operator: {name: Quillmere Coach Rinse (invented), time_zone: Europe/London}
vans: [{van: Quill, base: North Yard}]
meters: [{meter: M-1, resolution: 1, factor: 0.5}]
"""


@pytest.fixture
def file(tmp_path, monkeypatch):
    """A rule file and a register in the folder of the call."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "register.yaml").write_text(REGISTER)
    (tmp_path / "house.yaml").write_text(FILE)
    return tmp_path / "house.yaml"


def called(*arguments):
    """What the command prints, and the text of the error that ends it."""
    result = CliRunner().invoke(check, arguments)
    error = result.exception
    assert error is None or isinstance(error, RuleSetError | SystemExit), error
    return result.stdout, "" if error is None else str(error) or result.stderr


def test_what_ships_is_told_in_two_lines_and_scores_all():
    out, error = called()
    assert error == ""
    first, second, *_ = out.splitlines()
    assert first.startswith("6 rule sets, ")
    assert first.endswith("all as written.")
    assert second.endswith("100 %.")


def test_a_good_file_is_told_with_its_score(file):
    out, error = called("house.yaml")
    assert error == ""
    # < loose and turned, 20.4, 20.6, g/L; below, above, equal, holding, failing, missing
    assert "notice 5 of 5 mutants and show 6 of 6 cases: 100 %." in out
    assert "In force since before today: house 2026-04" in out


def test_a_mutant_that_no_example_notices_fails_the_check_with_one_that_would(file):
    file.write_text(FILE.replace(EXACT, ""))
    out, error = called("house.yaml")
    assert "1 rule sets, 1 rules, 3 examples: all as written." in out
    assert error.startswith(
        "house.yaml:10:15: no example of 'outlet-below-house-limit' notices 'outlet_tds <= "
        "house_limit' in place of 'outlet_tds < house_limit'\n"
        "   10 |     requires: outlet_tds < house_limit\n"
    )
    assert "and does not conform:\n        - {outlet_tds: 20.5 mg/L}" in error
    # The same example would notice 20.6 for 20.5 and show the limit met exactly: 3 of 11 lack.
    assert "to pin down 'outlet-below-house-limit', add" in error
    assert error.endswith("Below: outlet-below-house-limit 72.7 % (8 of 11).")


def test_a_lower_score_may_be_enough_and_is_noted(file):
    file.write_text(FILE.replace(EXACT, ""))
    out, error = called("house.yaml", "--least-score", "70 %")
    assert error == ""
    assert "note: outlet-below-house-limit 72.7 % (8 of 11)" in out
    assert "notices" in called("house.yaml", "--least-score", "72.8")[1]


def test_without_scores_only_what_is_wrong_fails(file):
    file.write_text(FILE.replace(EXACT, ""))
    out, error = called("house.yaml", "--no-scores")
    assert (error, "mutants" in out) == ("", False)
    file.write_text(FILE.replace("20.4", "21"))
    assert "house.yaml:18:11: this example" in called("house.yaml", "--no-scores")[1]


def test_a_rule_that_can_never_fail_is_told_before_its_examples_are(file):
    file.write_text(FILE.replace("outlet_tds < house", "outlet_tds >= house").replace("20.5", "0"))
    out, error = called("house.yaml")
    assert "all as written" not in out
    assert error.startswith("house.yaml:10:15: 'outlet-below-house-limit' can never fail")
    assert "even this one conforms:\n        - {outlet_tds: 0 mg/L}" in error
    assert "notices" not in error


def test_limits_finer_than_a_meter_shows_are_noted(file):
    out, error = called("house.yaml", "--register", "register.yaml")
    assert error == ""
    assert "note: house.yaml:12:25: the limit 'house_limit', 20.5 mg/L, is finer than meter" in out


@pytest.mark.parametrize("written", ["all", "101 %", "-1", "nan"])
def test_a_share_that_is_none_is_refused(file, written):
    result = CliRunner().invoke(check, ["house.yaml", "--least-score", written])
    assert result.exit_code == 2
    assert written in result.stderr
