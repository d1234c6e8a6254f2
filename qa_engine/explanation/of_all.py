"""The explanations of all findings of an inspection, worked out while it runs."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from importlib.metadata import EntryPoint

import polars as pl

from qa_engine.explanation.finding import Explained, Explainer
from qa_engine.inspection import Assignment, Course, Inspection, RuleSources, with_what_works
from qa_engine.judging import Judged
from qa_engine.plugin_host import PluginHost

Explanations = Mapping[tuple[str, datetime], Explained]
"""Explanations by the name of the finding and the instant since when it is one: in a period a
thing can fail, conform and fail again, under one name."""


def inspect_explained(
    assignment: Assignment,
    entries: Iterable[EntryPoint],
    rules: Callable[[PluginHost], RuleSources],
) -> tuple[Inspection, Explanations]:
    """Return what an inspection finds, and why each finding is one.

    Nothing is judged twice: findings are explained on what they were judged on.

    Args:
        assignment: what is to be inspected.
        entries: the plugins to load.
        rules: gives the rule files, once it is known which plugins work.

    Raises:
        ExplanationError: a finding by itself would have another outcome.
        RuleSetError: a rule file cannot be used.
    """
    return with_what_works(assignment, entries, rules, _explained)


def _explained(course: Course) -> tuple[Inspection, Explanations]:
    explainer, found = Explainer(course), dict[tuple[str, datetime], Explained]()

    def watch(judged: Judged, told: pl.DataFrame) -> None:
        keys = told.select("finding", "since").iter_rows()
        found.update(zip(keys, explainer.findings(judged, told), strict=True))

    return replace(course, watch=watch).run(), found
