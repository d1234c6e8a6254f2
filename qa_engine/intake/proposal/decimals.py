"""Decides which sign stands before decimals, where the numbers decide it."""

import re
from collections.abc import Sequence

from qa_engine.intake.column_map.column_map import COMMA, POINT
from qa_engine.intake.proposal.date_orders import Decided
from qa_engine.intake.proposal.questions import Questions
from qa_engine.intake.proposal.seen import SeenColumn

_NUMBER = re.compile(r"^[+-]?([0-9][0-9., '\u2019]*)")
_BY_SIGN = {",": COMMA, ".": POINT}
_OTHER = {COMMA: POINT, POINT: COMMA}


def decimal_sign(columns: Sequence[SeenColumn], questions: Questions) -> Decided:
    """Return the decimal sign of numbers that are written as text in some columns."""
    seen: dict[str, str] = {}
    for column in columns:
        for text in column.texts:
            sign = sign_of(text)
            if sign and sign not in seen:
                seen[sign] = f"{text} in {column.place(text)}"
    decided = seen.keys() & {COMMA, POINT}
    if len(decided) == 1:
        sign = decided.pop()
        return Decided(sign, f"{seen[sign]} has no other reading")
    if not seen:
        return Decided(None)
    what = " and ".join(seen.values()) if decided else f"{seen['?']} may be either"
    text = f"Which sign stands before decimals, comma or point? {what}."
    return Decided(questions.ask("decimal sign", text, (COMMA, POINT)))


def sign_of(text: str) -> str:
    """Return the decimal sign that a text decides on; '?' if it may be either, '' if it has none.

    A sign that stands twice, or before three digits behind a number that has another sign, sets
    thousands apart; one before any other count of digits is decimal. ``1.234`` may be either.
    """
    found = _NUMBER.match(text)
    number = found[1].strip(" .,'") if found else ""
    signs = re.findall("[.,]", number)
    if not signs:
        return ""
    if len(set(signs)) == 2:
        return _BY_SIGN[signs[-1]]
    last = _BY_SIGN[signs[-1]]
    if len(signs) > 1:
        return _OTHER[last]
    whole, decimals = re.split("[.,]", number)
    in_threes = len(decimals) == 3 and 1 <= len(re.sub(r"\D", "", whole)) <= 3
    return "?" if in_threes and not whole.startswith("0") else last
