"""What a preview comes to, in the order in which a page tells it."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import polars as pl

from qa_engine.preview import WINDOWS, Pair, Preview
from qa_engine.preview.figures import changes_by_rule, work_by_kind
from qa_engine.report.comparison_sentences import headline, noun, value, work_sentences
from qa_engine.report.sentences import sentence_case
from qa_engine.web.rules.previews import Reckoned

MOST_PLACES = 30
MOST_CHANGES = 100
"""How many changed verdicts are shown; the export has all."""

MOVED = ("extra", "saved", "sooner", "later")

Rows = list[dict[str, Any]]


@dataclass(frozen=True)
class Work:
    """Work of one kind that a proposal would call for, or no longer: counts, then sentences."""

    name: str
    counts: dict[str, dict[str, int]]
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Reckoning:
    """What a preview comes to.

    Attributes:
        headline: the gist.
        by_rule, by_place: how often each change happens; ``more_places`` are not shown.
        work: the work it implies.
        changes: the latest verdicts that change, of ``changes_in_all``.
        quiet: rules that are worded otherwise though no verdict changes.
        titles: the titles of rules.
    """

    headline: str
    by_rule: Rows
    by_place: Rows
    more_places: int
    work: tuple[Work, ...]
    changes: Rows
    changes_in_all: int
    quiet: tuple[Pair, ...]
    titles: dict[str, str]


def reckoning(reckoned: Reckoned) -> Reckoning:
    """Return what a preview comes to."""
    preview = reckoned.preview
    by_place = preview.changes_by_place
    places = (
        by_place.group_by("rule", "van", "tank", "item", "change")
        .agg(pl.col(*WINDOWS).sum())
        .sort("in_all", "rule", "van", "tank", "item", descending=[True, *[False] * 4])
    )
    latest = preview.changes.sort("at", "subject", "rule", descending=[True, False, False])
    return Reckoning(
        headline(preview),
        changes_by_rule(by_place).to_dicts(),
        places.head(MOST_PLACES).to_dicts(),
        max(0, places.height - MOST_PLACES),
        tuple(_work(preview)),
        [_change(row) for row in latest.head(MOST_CHANGES).to_dicts()],
        latest.height,
        tuple(_quiet(preview)),
        {pair.rule: pair.either.title for pair in preview.adoption.pairs},
    )


def _work(preview: Preview) -> Iterator[Work]:
    rows = work_by_kind(preview.work_by_place).filter(pl.col("what").is_in(MOVED)).to_dicts()
    for kind in dict.fromkeys(row["settled_by"] for row in rows):
        counts = {row["what"]: row for row in rows if row["settled_by"] == kind}
        name = sentence_case(noun(kind, plural=True))
        yield Work(name, counts, tuple(work_sentences(preview, kind)))


def _change(row: dict[str, Any]) -> dict[str, Any]:
    measured = json.loads(row["measured"])
    return {**row, "measured": {name: value(one) for name, one in measured.items()}}


def _quiet(preview: Preview) -> Iterator[Pair]:
    loud = set(preview.changes["rule"].unique())
    for pair in preview.adoption.pairs:
        if pair.standing != "unchanged" and pair.rule not in loud:
            yield pair
