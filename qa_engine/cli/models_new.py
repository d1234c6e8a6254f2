"""``qa-engine models new``: a small package with a resin model, complete and open to changes."""

import keyword
import re
import sys
from dataclasses import dataclass
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from string import Template

import click

import qa_engine
from qa_engine.plugin_host import installed_plugins, open_host

WELL_FORMED = re.compile(r"[a-z][a-z0-9]*(?:[ _-][a-z0-9]+)*")
LONGEST = 40
RESERVED = ("conftest", "qa_engine", "setup", "tests")
"""Names that mean something else beside or inside a package."""

TEMPLATES = files("qa_engine.cli") / "new_model"


@dataclass(frozen=True)
class Names:
    """What one name makes: ``tidal grey``, ``tidal-grey``, ``tidal_grey`` and ``TidalGreyBed``."""

    grade: str

    @property
    def package(self) -> str:
        """Return the name of the package and of its folder."""
        return self.grade.replace(" ", "-")

    @property
    def module(self) -> str:
        """Return the name of the module, by which the engine lists the plugin too."""
        return self.grade.replace(" ", "_")

    @property
    def model(self) -> str:
        """Return the name of the class."""
        return "".join(word.capitalize() for word in self.grade.split()) + "Bed"

    def files(self) -> dict[str, str]:
        """Return the files of the package by their template."""
        return {
            "pyproject.toml": "pyproject.toml",
            "README.md": "README.md",
            "model.py": f"{self.module}.py",
            "test_model.py": f"tests/test_{self.module}.py",
        }


@click.command("new")
@click.argument("name")
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=".",
    help="Where the folder of the package is made; by default, here.",
)
def new(name: str, folder: Path) -> None:
    """Write a package with a resin model of a grade NAME, such as 'tidal grey'.

    It installs and passes its tests as it is. Its resin and its data sheet are invented: put in
    the figures of yours.
    """
    names = _names(name)
    _refuse_what_is_taken(names)
    place = folder / names.package
    _write(place, names)
    click.echo(f"Wrote {place}: " + ", ".join(names.files().values()))
    click.echo(
        f"In {place}, install it with: pip install .\n"
        "and test it with: pip install -e '.[test]' and pytest\n"
        "Its figures are invented; README.md says what to change."
    )


def _names(name: str) -> Names:
    if not WELL_FORMED.fullmatch(name) or len(name) > LONGEST:
        raise _refused(
            f"'{name}' cannot name a package. Use up to {LONGEST} lower-case letters a to z and "
            "digits, beginning with a letter, in words parted by single blanks or hyphens, such "
            "as 'tidal grey'."
        )
    return Names(re.sub("[_-]", " ", name))


def _refuse_what_is_taken(names: Names) -> None:
    module = names.module
    if keyword.iskeyword(module) or keyword.issoftkeyword(module) or module in RESERVED:
        raise _refused(f"'{module}' means something else to Python; choose another name.")
    entries = installed_plugins()
    host = open_host(entries)
    if names.grade in host.models:
        plugin = host.models[names.grade].plugin
        raise _refused(
            f"the plugin '{plugin}' speaks for the grade '{names.grade}' already, and two models "
            "for one grade are both refused; choose another name."
        )
    if module in {entry.name for entry in entries}:
        raise _refused(f"a plugin '{module}' is installed already; choose another name.")
    if module in sys.stdlib_module_names or find_spec(module) is not None:
        raise _refused(f"Python has a module '{module}' already; choose another name.")


def _write(place: Path, names: Names) -> None:
    try:
        place.mkdir(parents=True)
        (place / "tests").mkdir()
        for template, file in names.files().items():
            (place / file).write_text(_filled(template, names), encoding="utf-8", newline="\n")
    except FileExistsError as error:
        raise _refused(
            f"{error.filename} is there already and nothing is written over it; choose another "
            "name or --folder."
        ) from None
    except OSError as error:
        raise click.ClickException(f"cannot write {error.filename}: {error.strerror}") from None


def _filled(template: str, names: Names) -> str:
    text = (TEMPLATES / f"{template}.template").read_text(encoding="utf-8")
    return Template(text).substitute(
        grade=names.grade,
        package=names.package,
        module=names.module,
        model=names.model,
        version=qa_engine.__version__,
    )


def _refused(why: str) -> click.BadParameter:
    return click.BadParameter(why, param_hint="NAME")
