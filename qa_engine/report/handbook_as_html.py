"""The handbook as one HTML page that needs nothing else: for a screen, a phone and the wall."""

from collections.abc import Iterable, Iterator, Sequence
from html import escape

from qa_engine.report.handbook import MEANINGS, NOTICE, Chapter, Entry, Handbook, LimitTold
from qa_engine.report.handbook_history import EditionTold
from qa_engine.report.handbook_style import STYLE
from qa_engine.report.sentences import day, sentence_case

TONES = {"major": "stop", "minor": "care", "advice": "calm"}
"""The tone of each grading; its word always stands beside it."""


def html_handbook(handbook: Handbook) -> str:
    """Return the handbook as an HTML page, ending with a line feed."""
    return "\n".join(_page(handbook)) + "\n"


def _page(handbook: Handbook) -> Iterator[str]:
    title = f"Requirements in force on {escape(day(handbook.on))}"
    yield '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{title}</title>\n<style>{STYLE}</style>\n</head>\n<body>"
    yield '<a class="skip" href="#glance">Skip to the requirements</a>'
    yield "<header>"
    yield f'<p class="asof">{title}</p>\n<h1>{escape(handbook.summary)}</h1>'
    yield f'<p class="caution">{escape(NOTICE)}</p>'
    yield from _meanings()
    yield "</header>\n<main>"
    yield from _contents(handbook)
    yield from _glance(handbook)
    for chapter in handbook.chapters:
        yield from _chapter(chapter)
    yield from _idle(handbook)
    yield "</main>\n</body>\n</html>"


def _meanings() -> Iterator[str]:
    yield '<dl class="meanings">'
    for grade, meaning in MEANINGS.items():
        yield f"<div><dt>{_word(grade)}</dt><dd>{escape(meaning)}</dd></div>"
    yield "</dl>"


def _word(grade: str) -> str:
    return f'<span class="word {TONES[grade]}">{grade}</span>'


def _contents(handbook: Handbook) -> Iterator[str]:
    yield '<nav aria-label="Contents"><ul class="contents">'
    yield '<li><a href="#glance">At a glance</a></li>'
    for chapter in handbook.chapters:
        edition = chapter.edition
        yield f'<li><a href="#{edition.rule_set}">{escape(edition.title)}</a></li>'
    yield "</ul></nav>"


def _glance(handbook: Handbook) -> Iterator[str]:
    yield '<section id="glance" class="glance"><h2>At a glance</h2>'
    for job, entries in handbook.by_job:
        yield f"<section><h3>{escape(job)}</h3><ul>"
        for entry in entries:
            link = f'<a href="#{entry.key}">{escape(entry.rule.title)}</a>'
            told = f"<p>{link} <span>{_line(entry.at_a_glance)}</span></p>"
            yield f"<li>{_word(entry.rule.grading)} {told}</li>"
        yield "</ul></section>"
    yield "</section>"


def _line(text: str) -> str:
    return escape(" ".join(text.split(" ")))


def _chapter(chapter: Chapter) -> Iterator[str]:
    edition = chapter.edition
    yield f'<section id="{edition.rule_set}" class="chapter"><h2>{escape(edition.title)}</h2>'
    about = f"Edition {edition.edition}, answered for by {edition.owner}"
    yield f'<p class="asof">{escape(about)}.</p>'
    for entry in chapter.entries:
        yield from _entry(entry)
    yield f"<h3>History of {escape(edition.title)}</h3>"
    yield from _history(chapter.history)
    yield "</section>"


def _entry(entry: Entry) -> Iterator[str]:
    rule = entry.rule
    yield f'<article id="{entry.key}" class="{TONES[rule.grading]}">'
    yield f"<h3>{escape(rule.title)} {_word(rule.grading)}</h3>"
    yield f'<p class="must">{_line(entry.must)}</p>'
    yield f'<dl class="facts"><dt>Judged</dt><dd>{_line(entry.judged)}</dd>'
    yield f"<dt>If not</dt><dd>{_line(rule.correction)}</dd></dl>"
    if rule.caution:
        yield f'<p class="caution"><b>Caution.</b> {_line(rule.caution)}</p>'
    yield from _limits(entry.limits)
    yield '<dl class="facts">'
    if rule.basis:
        yield f"<dt>Basis</dt><dd>{_line(rule.basis)}</dd>"
    for outcome, examples in entry.examples:
        items = "".join(f"<li>{_line(sentence_case(one))}</li>" for one in examples)
        yield f"<dt>{sentence_case(outcome)}</dt><dd><ul>{items}</ul></dd>"
    yield f"<dt>Terms</dt><dd>{_line(' '.join(entry.terms))}</dd>"
    yield f"<dt>As written</dt><dd>{''.join(_written(entry))}</dd></dl></article>"


def _written(entry: Entry) -> Iterator[str]:
    rule = entry.rule
    if rule.applies_if:
        yield f"<code>applies_if: {escape(rule.applies_if.text)}</code> "
    yield f"<code>requires: {escape(rule.requires.text)}</code> "
    yield f'<small class="asof">{escape(rule.rule_set)}/{escape(rule.rule)}</small>'


def _limits(limits: Sequence[LimitTold]) -> Iterator[str]:
    if limits:
        rows = ((one.name, "\n".join(one.values), one.basis, one.review_by) for one in limits)
        yield from _table(("limit", "value", "basis", "review by"), rows)


def _history(history: Sequence[EditionTold]) -> Iterator[str]:
    rows = []
    for told in history:
        name = f"{told.edition.edition}{' (in force)' if told.is_current else ''}"
        changes = "\n".join(told.changes) or "First on file." * (told is history[-1])
        digest = told.edition.sha256[:12]
        rows.append((name, told.force, told.edition.owner, digest, changes))
    yield from _table(("edition", "in force", "owner", "digest", "what changed"), rows)


def _idle(handbook: Handbook) -> Iterator[str]:
    if handbook.idle:
        yield "<section><h2>Not in force on this day</h2>"
        for history in handbook.idle:
            yield f"<h3>{escape(history[0].edition.title)}</h3>"
            yield from _history(history)
        yield "</section>"


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """Yield a table; on a phone each cell says what column it is of."""
    yield '<div class="wide"><table><thead><tr>'
    yield "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
    yield "</tr></thead><tbody>"
    for row in rows:
        pairs = zip(heads, row, strict=True)
        cells = (f'<td data-of="{escape(head)}">{_cell(text)}</td>' for head, text in pairs)
        yield f"<tr>{''.join(cells)}</tr>"
    yield "</tbody></table></div>"


def _cell(text: str) -> str:
    return "<br>".join(map(escape, text.split("\n"))) if text else "&ndash;"
