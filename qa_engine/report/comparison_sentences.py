"""The sentences of a comparison of editions: what would change, and what work that implies."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import polars as pl

from qa_engine.facts import EVENT_SUBJECTS
from qa_engine.preview import Difference, Preview
from qa_engine.report.sentences import counted, listed, sentence_case
from qa_engine.wording import WITHOUT_UNIT

NOUNS = {
    "out_of_use": ("withdrawal from use", "withdrawals from use"),
    "return_to_use": ("return to use", "returns to use"),
    "water_analysis": ("water analysis", "water analyses"),
}
"""What records are called whose kind does not name one of them."""

VERBS = {
    "newly fails": "would newly fail",
    "newly passes": "would newly pass",
    "becomes undecided": "would become undecided",
    "fails under permission": "would fail under a permission",
    "no longer judged": "would no longer be judged",
}
"""What a change is called in a sentence, in the order in which changes are told."""


def noun(kind: str, *, plural: bool = False) -> str:
    """Return what a record is called, or a day of a thing that is judged by day: a tank day."""
    if kind in NOUNS:
        return NOUNS[kind][plural]
    word = kind.replace("_", " ") + ("" if kind in EVENT_SUBJECTS else " day")
    return word + "s" * plural


def things(number: int, kind: str) -> str:
    """Return a number of records, or of days of things that are judged by day."""
    return counted(number, noun(kind), noun(kind, plural=True))


def headline(preview: Preview) -> str:
    """Return what adopting the new editions would change, in a few sentences."""
    if not preview.judged:
        return "Nothing was there to judge."
    verdicts = list(_verdicts(preview.changes_by_place)) or ["No verdict of this history changes."]
    return " ".join([*verdicts, *_jobs(preview.work_by_place)])


def _verdicts(by_place: pl.DataFrame) -> Iterator[str]:
    for change, verb in VERBS.items():
        mine = by_place.filter(pl.col("change") == change)
        sums = mine.group_by("subject_kind").agg(pl.col("in_all", "last_90_days").sum())
        if rows := sums.sort("subject_kind").rows():
            what = listed(things(number, kind) for kind, number, _ in rows)
            late = listed(f"{row[2]:,}" if row[2] else "none" for row in rows)
            yield sentence_case(f"{what} {verb}; in the last 90 days {late}.")


def _jobs(by_place: pl.DataFrame) -> Iterator[str]:
    for what, verb in (
        ("extra", "be called for in addition"),
        ("saved", "no longer be called for"),
    ):
        mine = by_place.filter(pl.col("what") == what)
        sums = mine.group_by("settled_by").agg(pl.col("in_all").sum()).sort("settled_by").rows()
        if sums:
            jobs = listed(things(number, kind) for kind, number in sums)
            yield sentence_case(f"{jobs} would {verb}.")


def work_sentences(preview: Preview, kind: str) -> Iterator[str]:
    """Yield where work of a kind is extra or saved, and how much sooner it is called for."""
    jobs = preview.jobs.filter(pl.col("settled_by") == kind)
    more = (pl.col("new") - pl.col("old")).alias("more")
    for word, change in (("Extra", more), ("Saved", -more)):
        places = jobs.group_by("on").agg(change.clip(0).sum().alias("number"))
        where = places.filter(pl.col("number") > 0).sort("number", "on", descending=[True, False])
        if rows := where.rows():
            yield f"{word}: {', '.join(f'{on} {number}' for on, number in rows)}."
    extra = jobs.filter(pl.col("new") > pl.col("old"))
    done = extra.filter(pl.col("done").is_not_null())
    if done.height:
        waited = shown_time(_median(done, "new_since", "done"))
        yield (
            f"For {counted(done.height, 'of the extra ones', 'of the extra ones')} a "
            f"{noun(kind)} was logged anyway, {waited} (median) after the new edition would have "
            "called for it."
        )
    for word, first, then in (
        ("sooner", "new_since", "old_since"),
        ("later", "old_since", "new_since"),
    ):
        moved = jobs.filter(pl.col(first) < pl.col(then))
        if moved.height:
            by = shown_time(_median(moved, first, then))
            number = sentence_case(things(moved.height, kind))
            yield f"{number} would be called for {word}, by {by} (median)."


def _median(jobs: pl.DataFrame, first: str, then: str) -> timedelta:
    span: timedelta = jobs.select((pl.col(then) - pl.col(first)).median()).item()
    return span


def shown_time(span: timedelta) -> str:
    """Return a span of time for reading, in minutes, hours or days."""
    minutes = span.total_seconds() / 60
    if minutes < 90:
        return counted(round(minutes), "minute")
    if minutes < 48 * 60:
        return counted(round(minutes / 60), "hour")
    return counted(round(minutes / (24 * 60)), "day")


def difference(one: Difference) -> str:
    """Return what two editions word differently, such as ``house_limit: 20 mg/L -> 15 mg/L``."""
    part = one.part.removeprefix("limits.").removesuffix(".is")
    return f"{part}: {one.old or 'nothing'} -> {one.new or 'nothing'}"


def value(measured: dict[str, Any]) -> str:
    """Return a measured value with its unit for reading."""
    number, unit = measured["value"], measured["unit"]
    if number is None:
        return "not recorded"
    if isinstance(number, bool):
        return "yes" if number else "no"
    if not isinstance(number, float):
        return str(number)
    shown = f"{float(f'{number:.4g}'):.12g}"
    return shown if unit in WITHOUT_UNIT else f"{shown} {unit}"
