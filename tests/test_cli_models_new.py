"""A package that ``models new`` writes: complete as it stands, installed, listed and used."""

import ast
import json
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

import qa_engine
from qa_engine.cli.models_new import TEMPLATES
from qa_engine.cli.program import program

REGISTER = """\
operator: {name: Quillmere Coach Rinse (invented), time_zone: Europe/London}
vans:
  - {van: Quill, base: North Yard}
tanks:
  - {tank: T-1, van: Quill, vessel_volume: 14 L, bore: 200 mm, rated_pressure: 150 psi}
meters:
  - {meter: M-1, factor: 0.5, compensation: yes}
"""

RECORDS = """\
record,kind,at,tank,van,meter,sampled,inlet_tds,outlet_tds,change,grade,resin_volume,water_used,rinses
C-1,resin_change,2026-05-04T07:00:00Z,T-1,Quill,,,,,emptied and refilled,tidal grey,10,,
A-1,reading,2026-05-04T08:00:00Z,T-1,Quill,M-1,flowing,150,0,,,,,
W-1,rinse,2026-05-04T09:00:00Z,T-1,Quill,,,,,,,,1700,17
"""

FILES = ["README.md", "pyproject.toml", "tests/test_tidal_grey.py", "tidal_grey.py"]


def called(*arguments):
    """Return what the program answers: exit status, standard output and standard error."""
    result = CliRunner().invoke(program, [str(a) for a in arguments])
    return result.exit_code, result.stdout, result.stderr


def files_in(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())


def ran(*command, cwd, site=None):
    """Run a program of its own, in an environment that has the plugin installed or has not."""
    paths = [str(site)] if site else []
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(paths), "NO_COLOR": "1", "COLUMNS": "200"}
    return subprocess.run(
        [sys.executable, *command], cwd=cwd, env=env, capture_output=True, text=True, check=False
    )


def program_in(site, cwd, *arguments):
    return ran("-c", "from qa_engine.cli import main; main()", *arguments, cwd=cwd, site=site)


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    """Return a package as it was written."""
    folder = tmp_path_factory.mktemp("written")
    status, out, err = called("models", "new", "tidal grey", "--folder", folder)
    assert (status, err) == (0, "")
    assert f"Wrote {folder / 'tidal-grey'}: pyproject.toml, README.md, tidal_grey.py" in out
    assert f"In {folder / 'tidal-grey'}, install it with: pip install ." in out
    return folder / "tidal-grey"


@pytest.fixture(scope="module")
def site(package, tmp_path_factory):
    """Return a folder into which pip installed the package, without network."""
    folder = tmp_path_factory.mktemp("environment")
    options = ("--no-deps", "--no-build-isolation", "--no-index", "--disable-pip-version-check")
    installed = ran(
        "-m", "pip", "install", "-q", *options, "--target", folder / "site", package, cwd=folder
    )
    assert installed.returncode == 0, installed.stderr
    return folder / "site"


@pytest.fixture
def fleet(tmp_path):
    """Return a folder with a register, and records of a charge of the grade."""
    (tmp_path / "register.yaml").write_text(REGISTER)
    (tmp_path / "records.csv").write_text(RECORDS)
    return tmp_path


def test_the_package_is_small_and_complete(package):
    assert set(FILES) <= set(files_in(package))
    settings = tomllib.loads((package / "pyproject.toml").read_text())
    assert settings["project"]["name"] == "tidal-grey"
    assert settings["project"]["entry-points"] == {"qa_engine": {"tidal_grey": "tidal_grey"}}
    assert settings["project"]["dependencies"] == [f"qa-engine>={qa_engine.__version__}"]


def test_the_package_passes_its_own_tests(package):
    tested = ran("-m", "pytest", "-q", "-p", "no:cacheprovider", cwd=package)
    assert tested.returncode == 0, tested.stdout
    assert "34 passed" in tested.stdout


def test_the_package_passes_ruff_and_strict_mypy(package, request):
    assert ran("-m", "ruff", "check", "--no-cache", ".", cwd=package).stdout.strip() == (
        "All checks passed!"
    )
    formatted = ran("-m", "ruff", "format", "--no-cache", "--check", ".", cwd=package)
    assert formatted.returncode == 0, formatted.stdout
    # In a checkout mypy does not find the engine by itself; what it finds there is not on trial.
    above = Path(qa_engine.__file__).parent.parent
    where = {} if above.name == "site-packages" else {"MYPYPATH": str(above)}
    cache = request.config.rootpath / ".mypy_cache" / "models-new"
    command = (sys.executable, "-m", "mypy", "--follow-imports=silent", f"--cache-dir={cache}")
    typed = subprocess.run(
        [*command, "tidal_grey.py", "tests"],
        cwd=package,
        env={**os.environ, **where},
        capture_output=True,
        text=True,
        check=False,
    )
    assert typed.stdout.strip() == "Success: no issues found in 2 source files"


def test_once_installed_the_model_is_listed(site, fleet):
    listed = program_in(site, fleet, "models", "list")
    assert listed.returncode == 0, listed.stderr
    plugin = next(line for line in listed.stdout.splitlines() if line.startswith("tidal_grey"))
    assert "tidal-grey (tidal_grey)" in plugin
    assert plugin.split()[-1] == "loaded"
    grade = next(line for line in listed.stdout.splitlines() if line.startswith("tidal grey"))
    assert "mixed bed" in grade
    assert "0.548728" in grade
    assert "data sheet of an" in grade


def findings(site, fleet):
    """Return what an inspection with the shipped rules finds, by rule."""
    judged = program_in(
        site, fleet, "inspect", "records.csv", "--register", "register.yaml",
        "--as-of", "2026-05-05T12:00:00Z", "--format", "json",
    )  # fmt: skip
    assert judged.stderr == ""
    report = json.loads(judged.stdout)
    assert report["complete"]
    return {one["rule"]: one for one in report["findings"]}


def test_once_installed_the_model_is_used_for_charges_of_its_grade(site, fleet):
    """By hand: 150 mg/L at 0.5 are 300 uS/cm, 2.740 meq/L; 1700 L spend 4.658 eq.

    10 L of resin at 0.54873 eq/L hold 5.487 eq: 0.849 are used, and the rest is for 302.5 L.
    """
    found = findings(site, fleet)
    spent = found["charge-not-nearly-spent"]
    assert spent["outcome"] == "does not conform"
    assert spent["measured"]["used_fraction"]["value"] == pytest.approx(0.849, abs=5e-4)
    assert "302.5 L" in spent["message"]
    assert "grade-has-a-model" not in found


def test_without_the_package_the_same_charge_is_undecided(fleet):
    found = findings(None, fleet)
    assert found["charge-not-nearly-spent"]["outcome"] == "undecided"
    assert found["grade-has-a-model"]["outcome"] == "does not conform"


def test_what_is_there_already_is_never_written_over(tmp_path):
    (tmp_path / "tidal-grey").mkdir()
    status, out, err = called("models", "new", "tidal-grey", "--folder", tmp_path)
    assert (status, out) == (2, "")
    assert "is there already and nothing is written over it" in err
    assert files_in(tmp_path) == []


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    status, _, err = called("models", "new", "tidal grey", "--folder", tmp_path / "file" / "in")
    assert status == 1
    assert "cannot write" in err


@pytest.mark.parametrize("name", ["tidal grey", "tidal-grey", "tidal_grey"])
def test_words_may_be_parted_in_any_way(tmp_path, name):
    assert called("models", "new", name, "--folder", tmp_path / "new" / "folder")[0] == 0
    assert files_in(tmp_path / "new" / "folder" / "tidal-grey") == FILES


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("", "cannot name a package"),
        ("Tidal Grey", "lower-case letters a to z"),
        ("2 beds", "beginning with a letter"),
        ("k\u00fcstengrau", "lower-case letters a to z"),
        ("tidal  grey", "single blanks"),
        ("../tidal", "cannot name a package"),
        ("tidal grey\n", "cannot name a package"),
        ("a" * 41, "up to 40"),
        ("lambda", "'lambda' means something else to Python"),
        ("setup", "'setup' means something else to Python"),
        ("tests", "'tests' means something else to Python"),
        ("qa-engine", "'qa_engine' means something else to Python"),
        ("json", "Python has a module 'json' already"),
        ("numpy", "Python has a module 'numpy' already"),
        ("softening", "the plugin 'softening' speaks for the grade 'softening' already"),
        ("standard mixed bed", "the plugin 'mixed_bed' speaks for the grade"),
        ("mixed bed", "a plugin 'mixed_bed' is installed already"),
    ],
)
def test_a_name_that_would_not_work_is_refused_with_its_reason(tmp_path, name, said):
    status, out, err = called("models", "new", "--folder", tmp_path, "--", name)
    assert (status, out) == (2, "")
    assert said in " ".join(err.split())
    assert files_in(tmp_path) == []


@pytest.mark.parametrize("name", ["a", "grade", "water", "capacity", "x9 y9", "b" * 40])
def test_any_name_makes_python_that_compiles_and_a_model_of_its_own(tmp_path, name):
    """Names that the module uses for something else do not meet that of the class."""
    assert called("models", "new", name, "--folder", tmp_path)[0] == 0
    module = name.replace(" ", "_")
    folder = tmp_path / name.replace(" ", "-")
    source = (folder / f"{module}.py").read_text()
    scope = {"__name__": module}
    exec(compile(source, f"{module}.py", "exec"), scope)
    (model,) = scope["qa_resin_models"]()
    assert model.grade.name == name
    assert type(model).__name__.endswith("Bed")
    ast.parse((folder / "tests" / f"test_{module}.py").read_text())
    assert tomllib.loads((folder / "pyproject.toml").read_text())


def test_no_template_is_left_unfilled_and_none_lies_idle(package):
    assert len([one for one in TEMPLATES.iterdir() if one.name.endswith(".template")]) == 4
    for name in FILES:
        assert "$" not in (package / name).read_text()
