"""A comparison of editions for the person who is to decide: the gist, the work, then each rule."""

import json
from collections.abc import Iterator
from io import StringIO
from typing import Any

import polars as pl
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from qa_engine.preview import WINDOWS, Pair, Preview
from qa_engine.report.as_text import PIPED_WIDTH, STYLES
from qa_engine.report.comparison import Comparison
from qa_engine.report.comparison_sentences import (
    difference,
    headline,
    noun,
    value,
    work_sentences,
)
from qa_engine.report.sentences import counted, day, sentence_case
from qa_engine.subjects import item_of

SPANS = {"in_all": "in all", "last_year": "last year", "last_90_days": "last 90 days"}
WORK = ("old", "new", "extra", "saved", "sooner", "later")
SHOWN_PLACES = 20
SHOWN_CHANGES = 3

AS_LOGGED = (
    "All records are judged by both editions, whatever their days of force say; things such as "
    "tanks and meters at the end of each day. Jobs are counted on the history as it was logged: "
    "had one been done when the new edition called for it, what was read later would differ."
)


def comparison_text(comparison: Comparison) -> str:
    """Return the comparison as plain text without colour, for files and pipes."""
    out = StringIO()
    show_comparison(comparison, Console(file=out, width=PIPED_WIDTH, no_color=True))
    return "".join(f"{line.rstrip()}\n" for line in out.getvalue().splitlines())


def show_comparison(comparison: Comparison, console: Console) -> None:
    """Print the comparison to a console."""
    for part in _parts(comparison):
        console.print(part, highlight=False)


def _parts(comparison: Comparison) -> Iterator[RenderableType]:
    preview = comparison.preview
    yield Text(_heading(preview), style="dim")
    yield Text(headline(preview), style="bold")
    yield from _section("The work it implies", list(_work(preview)))
    yield from _section("What would change", list(_changed(preview)))
    yield from _section("Changed, but no verdict with it", list(_quiet(preview)))
    yield from _section("To be known", [Text(f"- {line}") for line in _notes(comparison)])


def _section(title: str, body: list[RenderableType]) -> Iterator[RenderableType]:
    if body:
        yield Text(f"\n{title}", style="bold underline")
        yield Group(*body)


def _heading(preview: Preview) -> str:
    task, adoption = preview.assignment, preview.adoption
    zone = task.register.zone
    until = day(task.as_of.astimezone(zone))
    since = f"{day(preview.first.astimezone(zone))} to " if preview.first else "up to "
    olds = {edition.rule_set: edition for edition in adoption.old}
    changed = [
        f"{new.rule_set} {f'{old.edition} ->' if old else 'added,'} {new.edition}"
        for new in adoption.new
        if (old := olds.get(new.rule_set)) is None or old.sha256 != new.sha256
    ]
    return f"{task.register.operator} · {since}{until} · {', '.join(changed) or 'same editions'}"


def _work(preview: Preview) -> Iterator[RenderableType]:
    by_kind = preview.work_by_place.group_by("settled_by", "what").agg(pl.col(*WINDOWS).sum())
    moved = by_kind.filter(~pl.col("what").is_in(["old", "new"]))["settled_by"].unique().sort()
    for kind in moved:
        counts = {what: spans for _, what, *spans in by_kind.filter(settled_by=kind).rows()}
        table = _table(sentence_case(noun(kind, plural=True)), *WORK)
        for place, span in enumerate(SPANS.values()):
            table.add_row(span, *(f"{counts.get(w, (0, 0, 0))[place]:,}" for w in WORK))
        yield Padding(table, (0, 0, 0, 2))
        yield from (_indented(4, Text(line)) for line in work_sentences(preview, kind))


def _table(*heads: str, words: int = 1) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for place, head in enumerate(heads):
        table.add_column(head, justify="left" if place < words else "right")
    return table


def _indented(columns: int, text: Text) -> Padding:
    return Padding(text, (0, 0, 0, columns), expand=False)


def _changed(preview: Preview) -> Iterator[RenderableType]:
    for pair in preview.adoption.pairs:
        mine = (pl.col("rule_set") == pair.rule_set) & (pl.col("rule") == pair.rule)
        mine &= pl.col("subject_kind") == pair.subject
        by_place = preview.changes_by_place.filter(mine)
        if by_place.height:
            yield _rule_head(pair)
            yield from _what_differs(pair)
            yield Padding(_places(by_place, item_of(pair.subject)), (0, 0, 0, 4))
            yield from _last_ones(preview.changes.filter(mine), preview)


def _rule_head(pair: Pair) -> Text:
    grade = pair.either.grading
    head = Text(f"{pair.rule_set}/{pair.rule}", style="bold")
    head.append(f"  {grade}", style=STYLES[grade])
    head.append(f", {pair.standing}" if pair.standing != "amended" else "")
    return head


def _what_differs(pair: Pair) -> Iterator[RenderableType]:
    yield from (_indented(4, Text(difference(one))) for one in pair.differences)
    if pair.standing == "added":
        yield _indented(4, Text(f"requires: {pair.either.requires.text}"))


def _places(by_place: pl.DataFrame, kind: str) -> Table:
    """Return how often each change happens, in all and by place, the most frequent first."""
    table = _table("van", kind if kind != "van" else "", "change", *SPANS.values(), words=3)
    sums = by_place.group_by("change", maintain_order=True).agg(pl.col(*WINDOWS).sum())
    for change, *counts in sums.rows():
        table.add_row("all", "", change, *(f"{count:,}" for count in counts), style="bold")
    places = by_place.group_by("van", "tank", "item", "change", maintain_order=True).agg(
        pl.col(*WINDOWS).sum()
    )
    places = places.sort("in_all", "van", "tank", descending=[True, False, False], nulls_last=True)
    for van, tank, item, change, *counts in places.head(SHOWN_PLACES).rows():
        where = tank or (item if item != van else "")
        table.add_row(van or "", where, change, *(f"{count:,}" for count in counts))
    if (more := places.height - SHOWN_PLACES) > 0:
        table.add_row(f"and {more} more", "", "", "", "", "")
    return table


def _last_ones(changes: pl.DataFrame, preview: Preview) -> Iterator[RenderableType]:
    zone = preview.assignment.register.zone
    for row in changes.sort("at", "subject").tail(SHOWN_CHANGES).reverse().iter_rows(named=True):
        measured: dict[str, Any] = json.loads(row["measured"])
        values = ", ".join(f"{name} {value(one)}" for name, one in measured.items())
        text = f"{row['subject']} on {day(row['at'].astimezone(zone))}: {values}"
        yield _indented(4, Text(f"{text}; {row['was']} -> {row['becomes']}", style="dim"))


def _quiet(preview: Preview) -> Iterator[RenderableType]:
    """Yield the rules that are not what they were though no verdict of this history changes."""
    loud = set(preview.changes_by_place.select("rule_set", "rule", "subject_kind").rows())
    for pair in preview.adoption.pairs:
        if pair.standing == "unchanged" or (pair.rule_set, pair.rule, pair.subject) in loud:
            continue
        parts = ", ".join(one.part for one in pair.differences)
        yield Text(f"  {pair.rule_set}/{pair.rule}: {parts or pair.standing}")


def _notes(comparison: Comparison) -> Iterator[str]:
    preview, tally = comparison.preview, comparison.tally
    unchanged = len(preview.adoption.of_standing("unchanged"))
    yield AS_LOGGED
    if unchanged:
        verb = "stands" if unchanged == 1 else "stand"
        yield f"{sentence_case(counted(unchanged, 'rule'))} {verb} as before."
    yield from preview.adoption.notes
    for plugin in preview.plugins:
        if plugin.state == "failed":
            yield f"Plugin '{plugin.name}' failed: {plugin.reason}."
    if tally.refused:
        yield f"{sentence_case(counted(tally.refused, 'record'))} could not be taken."
    yield from tally.notes
    if preview.later:
        count = sentence_case(counted(preview.later, "record"))
        yield f"{count} after the instant of the comparison not used."
