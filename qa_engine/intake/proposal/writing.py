"""Writes a proposed map down: questions first, then a line per column, each with its reason."""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap

from qa_engine.intake.column_map.column_map import UNANSWERED
from qa_engine.intake.proposal.columns import Guess
from qa_engine.intake.proposal.date_orders import Decided
from qa_engine.intake.proposal.questions import Questions, Ref
from qa_engine.intake.proposal.tables import NOON, Proposed

_WIDE = 96
_PLAIN = re.compile(r"[^\W\d_][\w ./%()°-]*[\w.%)]|[^\W\d_]")
_TAKEN = {"yes", "no", "true", "false", "null", "on", "off", "y", "n"}

Sheets = Sequence[tuple[Proposed, Sequence[str]]]
"""Tables to be written, each with the sheets it stands for."""


def written_map(
    source: str,
    head: Mapping[str, Decided],
    tables: Sheets,
    sheets_left_out: Sequence[str],
    questions: Questions,
) -> str:
    """Return a proposed map as YAML text.

    Args:
        source: the file that it was made for.
        head: what holds for the whole map, with the reasons.
        tables: its tables.
        sheets_left_out: sheets that seem to hold no records.
        questions: what has to be answered.
    """
    lines = [f"# Column map proposed for {_remark(source)}. Read it before you use it.", ""]
    lines += ["column_map: 1", *_answers(questions), ""]
    for key, decided in head.items():
        if decided.answer is not None:
            lines.append(_with(f"{key}: {_value(decided.answer)}", decided.why))
    if sheets_left_out:
        listed = _list(sheets_left_out)
        lines.append(_with(f"sheets_left_out: {listed}", "no column heads were found there"))
    lines.append("tables:")
    for table, sheets in tables:
        lines += _table(table, sheets)
    return "\n".join(lines) + "\n"


def _answers(questions: Questions) -> Iterator[str]:
    if not questions.asked:
        return
    yield ""
    yield f"# Write an answer for every {UNANSWERED} below; the map is not taken before."
    yield "answers:"
    for name, asked in questions.asked.items():
        remark = wrap(_remark(asked.text + asked.choice), _WIDE, break_on_hyphens=False)
        yield from (f"  # {line}" for line in remark)
        yield f"  {_quoted(name)}: {UNANSWERED}"


def _table(table: Proposed, sheets: Sequence[str]) -> Iterator[str]:
    first = True
    for line in _table_lines(table, sheets):
        yield ("  - " if first else "    ") + line
        first = False


def _table_lines(table: Proposed, sheets: Sequence[str]) -> Iterator[str]:
    if sheets:
        yield f"sheet: {_list(sheets) if len(sheets) > 1 else _quoted(sheets[0])}"
    lines = table.seen.head_lines
    if lines:
        yield f"head: {lines[0] if len(lines) == 1 else list(lines)}"
    if table.kind:
        yield f"kind: {_value(table.kind)}"
    if table.always:
        said = ", ".join(f"{name}: {_value(value)}" for name, value in table.always.items())
        yield _with(f"always: {{{said}}}", "; ".join(dict.fromkeys(table.reasons.values())))
    if table.clock:
        why = f"the table states days only; its records are put at {NOON}"
        yield _with(f'clock: "{table.clock}"', why)
    for key in ("rows_left_out", "nothing", "where"):
        if listed := getattr(table, key):
            yield f"{key}: {_list(listed)}"
    yield "columns:"
    for guess in table.guesses:
        yield "  " + _column(guess, table)
    if table.left_out:
        yield "columns_left_out:"
        for column, why in table.left_out:
            sample = f"{why}: {column.sample}" if column.sample else why
            yield _with(f"  - {_quoted(column.head or column.key)}", sample)


def _column(guess: Guess, table: Proposed) -> str:
    column = guess.column
    heads = [one.head.casefold() for one in table.seen.columns]
    parts = [f"head: {_quoted(column.head)}"] if column.head else []
    if not column.head or heads.count(column.head.casefold()) > 1:
        parts.append(f"column: {column.key}")
    parts.append(f"field: {_value(guess.field)}")
    if guess.part:
        parts.append(f"part: {guess.part}")
    if guess.unit:
        parts.append(f"unit: {_value(guess.unit)}")
    if guess.words:
        said = ", ".join(f"{_quoted(one)}: {_value(two)}" for one, two in guess.words.items())
        parts.append(f"words: {{{said}}}")
    if column.key in table.carries_on:
        parts.append(f"carries_on: {_value(table.carries_on[column.key])}")
    why = f"{column.sample}; {guess.why}" if guess.why else column.sample
    return _with(f"- {{{', '.join(parts)}}}", why)


def _with(line: str, why: str) -> str:
    return f"{line}  # {_remark(why)}" if why else line


def _remark(text: str) -> str:
    return "".join(one if one.isprintable() else " " for one in text)


def _list(words: Sequence[str]) -> str:
    return "[" + ", ".join(_quoted(word) for word in words) + "]"


def _value(value: str | bool | Ref) -> str:
    if isinstance(value, Ref):
        return f"{{answer: {_quoted(value.name)}}}"
    return _quoted(str(value))


def _quoted(text: str) -> str:
    """Return a text as YAML takes it: plain where that is plain, else in quotation marks."""
    if _PLAIN.fullmatch(text) and text.casefold() not in _TAKEN:
        return text
    return json.dumps(text, ensure_ascii=False)
