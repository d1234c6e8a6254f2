"""Registers, read from a YAML file or from a folder of tables, with every problem told."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from polars.testing import assert_frame_equal

from qa_engine.errors import IntakeError
from qa_engine.intake import read_register
from qa_engine.register import TABLES

GOOD = """\
operator: {name: Invented Rinse, time_zone: Europe/Berlin}
vans:
  - {van: V1, base: north, time_zone: Etc/UTC}
tanks:
  - {tank: T1, van: V1, rated_pressure: 150 psi, bore: 254}
  - {tank: T1, from: 2026-01-01, rated_pressure: 500}
  - {tank: T2, after_tank: T1, freeboard_min: 100, freeboard_max: 150}
meters:
  - {meter: M1, compensation: no, factor: 0.5}
vehicle_classes:
sources: []
"""
TANKS = "tank,van,rated_pressure,bore [cm],from,after_tank,freeboard_min,freeboard_max\n"


@pytest.fixture
def register(tmp_path):
    """Return a function that writes a register's YAML file and reads it."""

    def read(text: str):
        (tmp_path / "register.yaml").write_text(text, encoding="utf-8")
        return read_register(tmp_path / "register.yaml")

    return read


@pytest.fixture
def folder(tmp_path) -> Path:
    """Return a folder that says the same as ``GOOD``."""
    files = {
        "operator.yaml": GOOD.splitlines()[0] + "\n",
        "vans.csv": "van,base,time_zone\nV1,north,Etc/UTC\n",
        "tanks.csv": TANKS + "T1,V1,150 psi,25.4,,,,\nT1,,500,,2026-01-01\nT2,,,,,T1,100,150\n",
        "meters.csv": "meter,compensation,factor\nM1,no,0.5\n",
    }
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def complaints(read, *args) -> list[str]:
    with pytest.raises(IntakeError) as caught:
        read(*args)
    return str(caught.value).splitlines()


def test_a_register_is_read_in_the_units_of_its_fields(register):
    """By hand: 150 psi is 150 x 6.894757293168 = 1034.2135939752 kPa."""
    found = register(GOOD)
    assert (found.operator, found.zone.key) == ("Invented Rinse", "Europe/Berlin")
    tanks = found.table("tanks")
    assert tanks["rated_pressure"].to_list() == [pytest.approx(1034.2135939752), 500.0, None]
    assert tanks["holds_from"][1] == datetime(2025, 12, 31, 23, tzinfo=UTC)
    assert found.table("meters")["compensation"].to_list() == [False]
    assert found.table("sources").is_empty()


def test_a_folder_of_tables_says_the_same_as_one_file(register, tmp_path_factory, folder):
    one, other = read_register(folder), None
    other_folder = tmp_path_factory.mktemp("one")
    (other_folder / "register.yml").write_text(GOOD, encoding="utf-8")
    other = read_register(other_folder / "register.yml")
    assert (one.operator, one.zone) == (other.operator, other.zone)
    for name in TABLES:
        assert_frame_equal(one.table(name), other.table(name))


@pytest.mark.parametrize(
    ("line", "at", "message", "help_"),
    [
        ("meterss: []", "12:1", "there is no key 'meterss' here", "did you mean 'meters'?"),
        (
            "vans: [{van: V9}]",
            "12:1",
            "the key 'vans' is written twice in one mapping",
            "first written at line 2",
        ),
    ],
)
def test_a_wrong_key_at_the_top_is_told(register, line, at, message, help_):
    told = complaints(register, GOOD + line + "\n")
    assert told[0].endswith(f"register.yaml:{at}: {message}")
    assert help_ in told[-1]


@pytest.mark.parametrize(
    ("row", "message", "help_"),
    [
        ("tank: T9, vesel_volume: 30", "there is no field 'vesel_volume' here", "'vessel_volume'?"),
        ("tank: T9, van: V7", "'van': no row of vans has the id 'V7'", "add it to vans, or cor"),
        ("tank: T9, van: V11", "'van': no row of vans has the id 'V11'", "did you mean 'V1'?"),
        ("tank: T9, after_tank: T7", "'after_tank': no row of tanks has the id 'T7'", "add it"),
        ("tank: T9, bore: 150 psi", "'bore': '150 psi' has a wrong unit: psi and mm do", "in mm"),
        ("tank: T9, bore: -1", "'bore': '-1' lies below 0 mm", "from 0 to 5000"),
        ("tank: T9, bore: [1]", "'bore': '['1']' is not a number", "a number in mm"),
        ("tank: T9, from: 2026-02-30", "'from': '2026-02-30' is not a day of the cal", "a day"),
        ("van: V1", "'tank': missing", "expected an id"),
        ("tank: T1", "tank 'T1' has another row from the beginning, in ", "needs a later 'from'"),
        ("tank: T1, from: 2026-01-01", "tank 'T1' has another row from 2026-01-01, in ", "later"),
        (
            "tank: T9, no_examination_by: operator policy",
            "'no_examination_by': 'operator policy' is not known",
            "one of: data plate, local code, written scheme",
        ),
        ("tank: T9, position: led", "'position': 'led' is not known (did you mean 'lead'?)", "one"),
        (
            "tank: T9, freeboard_min: 9, freeboard_max: 8",
            "the least freeboard lies above the greatest",
            "",
        ),
    ],
)
def test_a_wrong_row_is_told_with_its_line_and_what_would_do(register, row, message, help_):
    told = complaints(register, GOOD.replace("meters:", f"  - {{{row}}}\nmeters:"))
    assert "register.yaml:8:" in told[0]
    assert f": {message}" in told[0]
    assert len([line for line in told if "register.yaml:8:" in line]) == 1
    assert help_ in told[-1]


def test_everything_that_is_wrong_is_told_at_once_in_order(register):
    text = GOOD.replace("Europe/Berlin", "Europe/Berlinn").replace("Etc/UTC", "Mars/Base")
    told = complaints(register, text.replace("500", "500 ppm") + "more: 1\n")
    places = [line.split(":")[1] for line in told if "register.yaml:" in line]
    assert places == ["1", "3", "6", "12"]
    assert "did you mean 'Europe/Berlin'?" in told[0]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("vans: []\n", "the operator is missing; expected operator with name and time_zone"),
        ("operator: {name: Invented Rinse}\n", "'time_zone': missing"),
        ("operator: Invented Rinse\n", "'operator' cannot be read"),
        ("- a\n", "nothing is told here"),
        ("operator: {name: A, time_zone: Etc/UTC}\nvans: V1\n", "'vans' cannot be read"),
        ("operator: {name: A, time_zone: Etc/UTC}\nvans: [V1]\n", "'vans' cannot be read"),
        ("operator: {name: A\n", "this is not YAML"),
        ("operator: {name: &a A, time_zone: Etc/UTC}\nvans: [{van: *a}]\n", "the alias '*a'"),
    ],
)
def test_a_file_that_is_no_register_says_why(register, text, message):
    assert any(message in line for line in complaints(register, text))


def test_wrong_tables_of_a_folder_are_told_with_file_and_line(folder):
    text = TANKS + "T1,V1,x,,,,,\n\n,V7,,,,,,\nT3,,,,,,,,more\n"
    (folder / "tanks.csv").write_text(text, encoding="utf-8")
    (folder / "vans.csv").write_text("van,bse\nV1,north\n", encoding="utf-8")
    (folder / "tank.csv").write_text("tank\n", encoding="utf-8")
    told = [line.removeprefix(f"{folder}/") for line in complaints(read_register, folder)]
    assert told[0] == "tank.csv: this is no file of a register; did you mean 'tanks.csv'?"
    assert told[1].startswith("tanks.csv:2: 'rated_pressure': 'x' is not a number; expected a num")
    assert told[2].startswith("tanks.csv:4: 'tank': missing; expected an id of 1 to 64")
    assert told[3] == "tanks.csv:5: the row has 9 cells, the heads are 8"
    assert told[4] == "vans.csv: there is no column 'bse'; did you mean 'base'?"


def test_a_folder_without_an_operator_is_an_error(folder):
    (folder / "operator.yaml").unlink()
    assert complaints(read_register, folder) == [
        f"{folder / 'operator.yaml'}: there is no such file"
    ]


@pytest.mark.parametrize("name", ["none.yaml", "none"])
def test_a_register_that_is_not_there_is_an_error(tmp_path, name):
    assert "there is no such file" in complaints(read_register, tmp_path / name)[0]


def test_a_register_of_another_kind_of_file_is_an_error(tmp_path):
    (tmp_path / "register.csv").write_text("van\n", encoding="utf-8")
    (said,) = complaints(read_register, tmp_path / "register.csv")
    assert "expected a YAML file, or a folder with operator.yaml and one CSV file per" in said
