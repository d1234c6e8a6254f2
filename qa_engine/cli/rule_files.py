"""Which rule files a command uses: those named with --rules, or what the plugins offer."""

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from qa_engine.errors import IntakeError
from qa_engine.plugin_host import PluginHost
from qa_engine.rule_offers import beginning_of, offered

__all__ = ["RuleChoice", "RuleSources", "offered", "rule_sources"]

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
    return [(str(file), beginning_of(file)) for file in files]
