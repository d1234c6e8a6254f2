"""A replay as plain text: the figures by grade and share of life, and what was left out and why."""

from collections.abc import Iterator
from textwrap import wrap
from zoneinfo import ZoneInfo

from qa_engine.skill.lives import WHY_NOT
from qa_engine.skill.replay import Check, Row
from qa_engine.skill.score import LEAST_CHARGES

WIDTH = 100
HEAD = ("", "charges", "median error", "80 % interval held", "rule of thumb", "lower by")
COLUMNS = "{:<22}{:>8}{:>15}{:>21}{:>16}{:>11}"
MEANING = (
    "Median error: of rinses left until the limit, as a share of the charge's life. 80 % interval: "
    "of how many charges the rinses left lay in it; 80 of 100 should. Rule of thumb: the same "
    "error of a rated number of rinses for a litre of resin, fitted in hindsight to these very "
    "charges."
)
UNLUCKY = (
    "Most charges here were changed in time. Those that are scored are the ones that ran out "
    "before they were changed, so they held less than most: on all charges the forecasts would "
    "likely do better."
)


def check_text(check: Check, zone: ZoneInfo) -> str:
    """Return a replay as text, days by the operator's clock."""
    return "\n".join(_lines(check, zone)) + "\n"


def _lines(check: Check, zone: ZoneInfo) -> Iterator[str]:
    day = f"{check.as_of.astimezone(zone):%d %b %Y}".lstrip("0")
    yield "Forecasts made in hindsight, from what was on record then, against what happened"
    yield f"As of {day}; a charge ends when its outlet reaches {check.limit_mg_l:g} mg/L."
    yield ""
    yield f"{check.charges:,} charges on record, {check.used:,} scored"
    for reason, count in check.left_out.items():
        yield f"  {count:>6,} left out: {WHY_NOT[reason]}"
    yield ""
    if check.used < LEAST_CHARGES:
        yield f"Too few to give a figure: that takes {LEAST_CHARGES} charges or more."
        return
    yield COLUMNS.format(*HEAD).rstrip()
    grade: str | None = ""
    for row in check.rows:
        if row.grade != grade:
            grade = row.grade
            yield grade or "all grades"
        yield _row(row)
    yield ""
    yield from wrap(MEANING, WIDTH)
    if check.left_out.get("changed early", 0) > check.used:
        yield from wrap(UNLUCKY, WIDTH)


def _row(row: Row) -> str:
    at = f"  at {row.share:.0%} of life"
    if (score := row.score) is None:
        return f"{at:<22}{row.charges:>8}   no figure from fewer than {LEAST_CHARGES} charges"
    held = f"{score.within} of {score.charges}, {score.coverage:.0%}"
    lower = "-" if score.by_rule == 0 else f"{score.lower:.0%}"
    return COLUMNS.format(
        at, row.charges, f"{score.error:.1%}", held, f"{score.by_rule:.1%}", lower
    )
