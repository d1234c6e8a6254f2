"""The handbook as Markdown, for wikis and editors."""

import re
from collections.abc import Iterable, Iterator, Sequence

from qa_engine.report.handbook import MEANINGS, NOTICE, Chapter, Entry, Handbook
from qa_engine.report.handbook_history import EditionTold
from qa_engine.report.sentences import day, sentence_case

_MEANING = re.compile(r"[\\`*_{}\[\]<>#|~&!]|^(?:[-+=]|\d+[.)])(?=\s|$)")


def markdown_handbook(handbook: Handbook) -> str:
    """Return the handbook as Markdown text, ending with a line feed."""
    return "\n".join(_lines(handbook)).rstrip() + "\n"


def markdown_rule(entry: Entry, level: int = 3) -> str:
    """Return one rule as Markdown text under a heading of a level."""
    return "\n".join(_entry(entry, level)).rstrip() + "\n"


def escaped(text: str) -> str:
    """Return a text in one line in which nothing is taken for Markdown or HTML."""
    flat = " ".join(text.split(" ")).replace("\n", " ").replace("\r", " ").strip()
    return _MEANING.sub(lambda found: f"{found[0][:-1]}\\{found[0][-1]}", flat)


def _code(text: str) -> str:
    return f"`{' '.join(text.split())}`"


def _lines(handbook: Handbook) -> Iterator[str]:
    yield from (f"# Requirements in force on {day(handbook.on)}", "")
    yield from (handbook.summary, "", f"> {NOTICE}", "")
    yield from _table(("grading", "what it asks"), MEANINGS.items())
    yield from ("## At a glance", "")
    for job, entries in handbook.by_job:
        yield from (f"### {job}", "")
        rows = [(_link(entry), escaped(entry.at_a_glance), entry.rule.grading) for entry in entries]
        yield from _table(("requirement", "what must hold", "grading"), rows)
    for chapter in handbook.chapters:
        yield from _chapter(chapter)
    if handbook.idle:
        yield from ("## Not in force on this day", "")
        for history in handbook.idle:
            yield from _history(history)


def _link(entry: Entry) -> str:
    return f"[{escaped(entry.rule.title)}](#{entry.key})"


def _chapter(chapter: Chapter) -> Iterator[str]:
    edition = chapter.edition
    yield from (f"## {escaped(edition.title)}", "")
    about = f"Rule set `{edition.rule_set}`, edition {edition.edition}"
    yield from (f"{about}, answered for by {escaped(edition.owner)}.", "")
    for entry in chapter.entries:
        yield f'<a id="{entry.key}"></a>'
        yield ""
        yield from _entry(entry, 3)
    yield from (f"### History of {escaped(edition.title)}", "")
    yield from _history(chapter.history)


def _entry(entry: Entry, level: int) -> Iterator[str]:
    rule = entry.rule
    yield from (f"{'#' * level} {escaped(rule.title)} ({rule.grading})", "")
    yield from (f"**Must hold:** {escaped(entry.must)}", "")
    yield from (f"**Judged:** {escaped(entry.judged)}", "")
    yield from (f"**If not:** {escaped(rule.correction)}", "")
    if rule.caution:
        yield from (f"> **Caution:** {escaped(rule.caution)}", "")
    if entry.limits:
        rows = [
            (escaped(one.name), escaped(", ".join(one.values)), escaped(one.basis), one.review_by)
            for one in entry.limits
        ]
        yield from _table(("limit", "value", "basis", "review by"), rows)
    if rule.basis:
        yield from (f"**Basis:** {escaped(rule.basis)}", "")
    for outcome, examples in entry.examples:
        yield f"- {sentence_case(outcome)}: " + " · ".join(map(escaped, examples))
    yield from ("", " ".join(entry.terms), "")
    yield from (f"As written: {_code(_written(entry))}", "")


def _written(entry: Entry) -> str:
    rule = entry.rule
    scope = f"applies_if: {rule.applies_if.text}; " if rule.applies_if else ""
    return f"{rule.rule_set}/{rule.rule}: {scope}requires: {rule.requires.text}"


def _history(history: Sequence[EditionTold]) -> Iterator[str]:
    rows = [
        (
            escaped(str(told.edition)) + (" (in force)" if told.is_current else ""),
            told.force,
            escaped(told.edition.owner),
            f"`{told.edition.sha256[:12]}`",
            escaped(" ".join(told.changes)) or "first on file" * (told is history[-1]),
        )
        for told in history
    ]
    yield from _table(("edition", "in force", "owner", "digest", "what changed"), rows)


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    yield f"| {' | '.join(heads)} |"
    yield f"|{'---|' * len(heads)}"
    for row in rows:
        yield f"| {' | '.join(row)} |"
    yield ""
