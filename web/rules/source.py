"""The lines of a rule file beside what is wrong in them."""

from collections.abc import Sequence
from dataclasses import dataclass

from qa_engine.yaml_tree import Problem

AROUND = 2
"""How many lines are shown before and after one in which something is wrong."""

WIDEST = 160
"""Of a longer line only what stands around the place is shown [characters]."""


@dataclass(frozen=True)
class Line:
    """A line of a rule file.

    Attributes:
        number: counted from 1.
        before, at, after: its text, cut in three where the first problem stands.
        problems: what is wrong in it.
        follows: whether it comes right after the line shown before it.
    """

    number: int
    before: str
    at: str
    after: str
    problems: tuple[Problem, ...]
    follows: bool


def lines_around(text: str, problems: Sequence[Problem]) -> list[Line]:
    """Return the lines in which something is wrong, each with a few around it."""
    texts = text.split("\n")
    by_line: dict[int, list[Problem]] = {}
    for problem in problems:
        by_line.setdefault(min(problem.line, len(texts)), []).append(problem)
    wanted = {n for line in by_line for n in range(line - AROUND, line + AROUND + 1)}
    shown = sorted(n for n in wanted if 1 <= n <= len(texts))
    return [
        _line(n, texts[n - 1], tuple(by_line.get(n, ())), follows=before == n - 1)
        for before, n in zip([shown[0] - 1, *shown] if shown else [], shown, strict=False)
    ]


def _line(number: int, text: str, problems: tuple[Problem, ...], *, follows: bool) -> Line:
    at = problems[0].column - 1 if problems else 0
    start = max(0, at - WIDEST // 2) if len(text) > WIDEST else 0
    shown, at = text[start : start + WIDEST], at - start
    if not problems:
        return Line(number, shown, "", "", (), follows)
    return Line(number, shown[:at], shown[at : at + 1], shown[at + 1 :], problems, follows)
