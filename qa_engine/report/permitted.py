"""What a report tells of permissions: each with its state, what is under it and what is wrong."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from qa_engine.permissions import IN_FORCE, LAPSED, NOT_YET, Account, Permission, span
from qa_engine.register import day_start
from qa_engine.report.outcome import Report
from qa_engine.report.sentences import counted, day, sentence_case

TICK = timedelta(microseconds=1)
SHOWN_FINDINGS = 5
"""How many findings a permission shows before it counts the rest."""


def permitted(report: Report) -> Iterator[RenderableType]:
    """Yield each permission that is of interest now, and how many are over and done with."""
    zone = report.inspection.assignment.register.zone
    standing = report.inspection.findings.filter("stands")
    over = 0
    for account in report.inspection.permissions:
        under = standing.filter(pl.col("permission") == account.permission.permission)
        if account.state == LAPSED and under.is_empty() and not account.faults:
            over += 1
        else:
            yield _entry(account, under, zone)
    if over:
        yield Text(f"  {sentence_case(counted(over, 'permission'))} lapsed, with nothing to note.")


def _entry(account: Account, under: pl.DataFrame, zone: ZoneInfo) -> RenderableType:
    one = account.permission
    head = Text("  ")
    head.append(one.permission, style="bold")
    head.append(f"  {_state(account, zone)}; {counted(account.uses, 'finding')} under it")
    lines: list[RenderableType] = [head, _indented(f"{_about(one)}. {one.reason.strip()}")]
    lines += [_indented(text) for text in _under(under)]
    lines += [_indented(f"{f.fault}: {f.says}", style="yellow") for f in account.faults]
    return Group(*lines)


def _indented(text: str, style: str = "") -> Padding:
    return Padding(Text(" ".join(text.split()), style=style), (0, 0, 0, 6), expand=False)


def _about(one: Permission) -> str:
    places = [f"{name} {at}" for name, at in (("van", one.van), ("tank", one.tank)) if at]
    where = ", ".join(places) or "everywhere"
    return f"{sentence_case(one.type)} for {one.about}, {where}, approved by {one.approved_by}"


def _under(under: pl.DataFrame) -> Iterator[str]:
    """Yield the findings that stand under a permission: where, and what they say."""
    for row in under.head(SHOWN_FINDINGS).iter_rows(named=True):
        place = row["tank"] or row["van"] or row["item"]
        yield f"{place}: {row['message']} ({row['grading']}, {row['rule']})"
    if (more := under.height - SHOWN_FINDINGS) > 0:
        yield f"and {counted(more, 'more finding')}"


def _state(account: Account, zone: ZoneInfo) -> str:
    first, after = span(account.permission, zone)
    match account.state:
        case state if state == IN_FORCE:
            return f"in force until {_end(after, zone)}"
        case state if state == LAPSED:
            return f"lapsed at {_end(after, zone)}"
        case state if state == NOT_YET:
            begins = first.astimezone(zone)
            return f"not yet in force; begins {day(begins)}, {begins:%H:%M}"
    return account.state


def _end(after: datetime, zone: ZoneInfo) -> str:
    """Return the last moment before an instant: the end of a day, or a time."""
    last = (after - TICK).astimezone(zone)
    if day_start(after.astimezone(zone).date(), zone) == after:
        return f"the end of {day(last)}"
    return f"{day(last)}, {last:%H:%M:%S}"
