"""``qa-engine forecast`` as its users call it, on the demo fleet."""

import json
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from qa_engine.cli.program import program
from qa_engine.demo import write_demo

AS_OF = "2026-07-31T18:00:00Z"
PRICES = "currency: EUR\nresin: 6.50\ncall_back: 80\nearly_change: 45\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("fleet")
    write_demo(made)
    (made / "prices.yaml").write_text(PRICES)
    (made / "jobs.csv").write_text("date,van,vehicle_class,count\n2026-08-03,Spindrift,car,90\n")
    return made


@pytest.fixture(scope="module")
def run(folder):
    """Return the caller of the command on the demo fleet."""

    def call(*more, as_of=AS_OF):
        records = sorted(str(file) for file in (folder / "records").iterdir())
        register = ["--register", str(folder / "register.yaml"), "--as-of", as_of]
        return CliRunner().invoke(program, ["forecast", *records, *register, *more])

    return call


@pytest.fixture(scope="module")
def text(run):
    return run("--risk", "10").stdout


@pytest.fixture(scope="module")
def whole(run, folder):
    priced = ("--prices", str(folder / "prices.yaml"), "--jobs", str(folder / "jobs.csv"))
    return json.loads(run(*priced, "--format", "json").stdout)


def test_the_first_sentence_says_what_must_be_changed_by_when(text):
    said = " ".join(text.split("\n\n")[0].split())
    assert "Of T07 the outlet has reached its limit: change the resin before the next" in said
    assert "Change the resin of T11 before work on Monday 3 Aug 2026" in said
    assert "Of one tank nothing can be foretold." in said


def test_no_line_is_wider_than_a_hundred_columns(text):
    assert max(map(len, text.splitlines())) <= 100


def test_a_tank_without_a_model_is_named_with_the_reason(text):
    assert "- T12, kelp blend (invented): no loaded model speaks for its grade of resin." in text


def test_the_rule_that_ends_a_charge_is_named(text):
    told = " ".join(text.split())
    assert "A charge ends when its outlet reaches 20 mg/L" in told
    assert "rinse-water/outlet-below-house-limit, edition 2025-01" in told


def test_a_caution_stands_with_the_work(text):
    assert "see zero on a gauge before opening it" in text


def test_json_holds_every_table_and_the_sentence(whole):
    assert whole["says"].startswith("Of T07 the outlet has reached its limit")
    assert whole["complete"] is True
    assert whole["prices"]["currency"] == "EUR"
    tanks = {row["tank"]: row for row in whole["tanks"]}
    assert tanks["T12"]["why_not"] == "no model"
    # A change of T01 costs 18 L x 6.50 + 45 = 162. Fresh it gives some 18 x 0.5 x 0.93 / 0.00359 =
    # 2,330 L, which are 32.5 vehicles of 71.7 L: 5 a vehicle, and 5/(5 + 80) = 5.9 %.
    assert tanks["T01"]["least_cost_risk"] == pytest.approx(0.059, abs=0.004)
    assert tanks["T01"]["risk"] == tanks["T01"]["least_cost_risk"]
    assert {"rinses_left", "stock", "calendar", "jobs"} <= set(whole)


def test_json_is_the_same_bytes_again(run):
    once, again = (run("--risk", "5", "--format", "json").stdout for _ in range(2))
    assert once == again


def test_csv_has_a_row_per_tank(run, tmp_path):
    file = tmp_path / "tanks.csv"
    result = run("--risk", "10", "--format", "csv", "--out", str(file))
    assert result.exit_code == 0
    table = pl.read_csv(file)
    assert table.height == 12
    assert table["tank"].to_list() == [f"T{n:02}" for n in range(1, 13)]
    assert table.filter(pl.col("tank") == "T11")["change_by"].to_list() == ["2026-08-03"]


def test_what_lies_beyond_the_days_asked_for_is_said_so(run):
    told = " ".join(run("--risk", "10", "--days", "7").stdout.split())
    assert "Seven tanks need no change by 7 Aug 2026." in told
    assert "Later: not within 7 days." in told


def test_a_smaller_risk_never_asks_for_a_later_change(run):
    found = [
        {row["tank"]: row["change_by"] for row in json.loads(answer.stdout)["tanks"]}
        for answer in (run("--risk", risk, "--format", "json") for risk in ("2", "30"))
    ]
    careful, bold = found
    known = [tank for tank in careful if careful[tank]]
    assert known
    assert all(careful[tank] <= (bold[tank] or "9999") for tank in known)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--risk", "100"), "--risk"),
        (("--days", "0"), "--days"),
        (("--prices", "nowhere.yaml"), "nowhere.yaml: cannot be read"),
        (("--jobs", "nowhere.csv"), "nowhere.csv"),
    ],
)
def test_a_wrong_call_is_refused_with_status_2(run, arguments, says):
    result = run(*arguments)
    assert result.exit_code == 2
    assert says in result.output


def test_before_the_first_record_there_is_nothing_to_foretell(run):
    result = run("--risk", "10", as_of="2020-01-01T12:00:00Z")
    assert "nothing" in result.stdout


def test_the_readme_shows_what_the_command_says(text):
    readme = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
    shown = readme.split("`--as-of 2026-07-31T18:00:00Z --risk 10` and shortened:")[1]
    lines = shown.split("```")[1].strip().splitlines()
    told = text.replace("\N{NO-BREAK SPACE}", " ").splitlines()
    assert lines[-1] == "..."
    assert [line for line in lines[:-1] if line not in told] == []
