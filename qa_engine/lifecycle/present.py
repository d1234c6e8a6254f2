"""The present inspection, as far as the life of findings depends on it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import polars as pl

import qa_engine
from qa_engine.lifecycle.earlier import Earlier, tools_of
from qa_engine.plugin_host import Plugin
from qa_engine.rulesets import Edition


@dataclass(frozen=True)
class Present:
    """The present inspection, as far as the life of findings depends on it.

    Attributes:
        frames: the records that were used, by kind.
        as_of: its instant.
        findings: all findings, also those outside its period.
        answers: what it answers to the earlier report's open findings.
        editions: the rule sets that judged.
        plugins: every plugin and what became of it.
    """

    frames: Mapping[str, pl.DataFrame]
    as_of: datetime
    findings: pl.DataFrame
    answers: pl.DataFrame
    editions: Iterable[Edition]
    plugins: Iterable[Plugin]

    @cached_property
    def rules(self) -> frozenset[tuple[str, str]]:
        """Return rule set and rule of every rule that was read."""
        return frozenset((r.rule_set, r.rule) for edition in self.editions for r in edition.rules)

    def same_editions(self, earlier: Earlier) -> list[tuple[str, str]]:
        """Return the editions that read to the letter as they did in an earlier report."""
        texts = {(one.rule_set, one.edition): one.sha256 for one in self.editions}
        return [key for key, text in earlier.texts.items() if texts.get(key) == text]

    def same_tools(self, earlier: Earlier) -> bool:
        """Tell whether the same engine and plugins, each in the same state, judged both times."""
        plugins = [{"name": p.name, "sha256": p.sha256, "state": p.state} for p in self.plugins]
        return tools_of(qa_engine.__version__, plugins) == earlier.tools
