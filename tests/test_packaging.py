"""The package: what is on disk is what a wheel contains, under one name."""

import tomllib
from importlib.metadata import entry_points
from importlib.resources import files
from pathlib import Path

ROOT = Path(__file__).parent.parent
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
MAPPED = {"plugins", "rules", "web"}
TOP_LEVEL = {
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "LICENSE",
    "MANIFEST.in",
    "README.md",
    "plugins",
    "pyproject.toml",
    "qa_engine",
    "rules",
    "tests",
    "web",
}
MADE_BY_TOOLS = {"build", "dist", "demo-fleet", "qa_engine.egg-info"}


def packages_on_disk() -> set[str]:
    """Every folder with Python files, by the name that it has once installed."""
    names = set()
    for top in ("qa_engine", *MAPPED):
        for path in (ROOT / top).rglob("*.py"):
            parts = path.parent.relative_to(ROOT).parts
            names.add(".".join(("qa_engine", *parts) if parts[0] in MAPPED else parts))
    return names


def test_every_package_on_disk_is_in_the_wheel():
    assert packages_on_disk() == set(SETTINGS["tool"]["setuptools"]["packages"])


def test_every_file_of_the_engine_that_is_no_module_is_in_the_wheel():
    shipped = SETTINGS["tool"]["setuptools"]["package-data"]
    named = {
        path
        for package, patterns in shipped.items()
        if package.split(".")[0] == "qa_engine" and package.split(".")[-1] not in MAPPED
        for pattern in patterns
        for path in ROOT.joinpath(*package.split(".")).glob(pattern)
    }
    found = {path for path in (ROOT / "qa_engine").rglob("*") if path.is_file()}
    assert {p for p in found if p.suffix not in (".py", ".pyc")} == named


def test_every_template_and_sheet_of_the_pages_is_in_the_wheel():
    patterns = SETTINGS["tool"]["setuptools"]["package-data"]["qa_engine.web"]
    named = {path for pattern in patterns for path in (ROOT / "web").glob(pattern)}
    found = {path for path in (ROOT / "web").rglob("*") if path.is_file()}
    assert {path for path in found if path.suffix not in (".py", ".pyc")} == named


def test_the_top_level_holds_these_and_nothing_else():
    visible = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert visible - MADE_BY_TOOLS == TOP_LEVEL


def test_rule_files_are_found_by_their_package():
    shipped = {
        path.name for path in files("qa_engine.rules").iterdir() if path.name != "__pycache__"
    }
    assert {path.name for path in (ROOT / "rules").glob("*.yaml")} <= shipped


def test_what_ships_in_plugins_comes_in_by_the_entry_points():
    named = {entry.value for entry in entry_points(group="qa_engine")}
    shipped = {
        f"qa_engine.plugins.{path.stem}"
        for path in (ROOT / "plugins").glob("*.py")
        if path.stem != "__init__"
    }
    assert shipped <= named


def test_one_version_is_told_everywhere():
    import qa_engine

    assert SETTINGS["project"]["version"] == qa_engine.__version__
