"""Which rule files a command uses: those named with --rules, or what the plugins offer."""

from collections.abc import Callable, Iterable, Sequence
from importlib.resources.abc import Traversable
from pathlib import Path

from qa_engine.errors import IntakeError
from qa_engine.plugin_host import PluginHost
from qa_engine.yaml_tree import LARGEST_FILE

RuleSources = Iterable[tuple[str, bytes]]
RuleChoice = Callable[[PluginHost], RuleSources]


def rule_sources(paths: Sequence[Path]) -> RuleChoice:
    """Return what gives the rule files, once it is known which plugins work.

    Raises:
        IntakeError: a path is not there, or holds no rule file.
    """
    named = [source for path in paths for source in _at(path)]
    return lambda host: named or offered(host)


def _at(path: Path) -> list[tuple[str, bytes]]:
    files = sorted(path.glob("*.yaml")) if path.is_dir() else [path]
    if not files:
        raise IntakeError(f"{path}: no file *.yaml in this folder; name one that holds rule sets")
    if missing := [file for file in files if not file.is_file()]:
        raise IntakeError(f"{missing[0]}: no such file; --rules takes rule files or folders")
    return [(str(file), _beginning(file)) for file in files]


def offered(host: PluginHost) -> list[tuple[str, bytes]]:
    """Return the rule files that plugins offer, in the order of plugins and names."""
    return [
        (f"{plugin}:{file.name}", _beginning(file))
        for plugin, folder in host.rule_folders
        for file in sorted(_yaml_files(folder), key=lambda one: one.name)
    ]


def _yaml_files(folder: Traversable) -> list[Traversable]:
    return [file for file in folder.iterdir() if file.name.endswith(".yaml")]


def _beginning(file: Traversable) -> bytes:
    """Return what a file holds, of one that is too large only enough to tell."""
    with file.open("rb") as stream:
        return stream.read(LARGEST_FILE + 1)
