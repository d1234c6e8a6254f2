"""The morning message of a base: what must not rinse, what falls due, what to take along."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import polars as pl

from qa_engine.book.lookout import FleetState
from qa_engine.messages.message import MORNING, Channel, Message
from qa_engine.messages.places import (
    CLOSING,
    Whereabouts,
    as_text,
    clock,
    long_day,
    standing_findings,
    standing_jobs,
    subject_line,
    told_job,
)
from qa_engine.report.jobs import Job
from qa_engine.report.sentences import counted, listed, sentence_case, undecided

DUE_WITHIN = timedelta(days=7)
CHANGE_WITHIN = timedelta(days=2)
"""So early a resin change is told; the resin goes along that day."""

SHOWN = 20
NOTHING = "Nothing that could be decided fails at {base}, and nothing falls due within {days} days."
STRANGE = (
    "No van and no tank belongs to {base}; what follows, if anything, is what belongs to no known "
    "base. Whoever runs the pages should look whether the settings and the register name it alike."
)
OPEN = "For lack of evidence nobody can say of {places} whether work is needed: {page}"
SEE_PAGE = "the page of findings names what is missing."
TAKEN = {
    "seal_service": "seals and what goes with them, for {place}: {correction}",
    "meter_check": "a conductivity standard within its use-by date, for {place}",
    "reading": "a checked meter, to read at {place}",
}
"""What goes along for a kind of work; the resin of a change is told by grade and litres."""


@dataclass(frozen=True)
class _Told:
    """What there is to tell a base.

    Attributes:
        stopped: jobs at tanks with a major finding.
        rest: the other jobs.
        due: lines on what falls due.
        changes: tanks whose resin is to be changed soon, rows of the lookout's tanks.
        unclear: the places of which nobody can say whether they must stop.
    """

    stopped: Sequence[Job]
    rest: Sequence[Job]
    due: Sequence[str]
    changes: Sequence[dict[str, Any]]
    unclear: Sequence[str]


def morning_identity(base: str, day: date) -> str:
    """Return the identity of a base's message on a morning."""
    return f"{MORNING}/{base}/{day}"


def morning_message(state: FleetState, base: str, day: date, to: Channel) -> Message:
    """Return what a base is told on a morning; where nothing stands, it says so.

    What belongs to no known base is told to every base.

    Args:
        state: what the rules say.
        base: the base.
        day: the day in the operator's zone.
        to: where the message goes.
    """
    where = Whereabouts(state)
    known = base in where.bases
    told = _told(state, where, base, day)
    lines = [f"{base}, {long_day(day)}. As of {clock(state.as_of, state)}.", ""]
    lines += _opening(told, base, known=known)
    lines += _section("MUST NOT RINSE until the work is done", _jobs(told.stopped))
    lines += _section("TO BE DONE", _jobs(told.rest))
    lines += _section(f"FALLS DUE within {DUE_WITHIN.days} days", told.due)
    lines += _section("RESIN TO CHANGE SOON, by forecast; the outlet decides", _changes(told))
    lines += _section("TAKE ALONG", list(_take_along(state, told)))
    head = subject_line(f"{base}, {day.day} {day:%B}: {_summary(told, known=known)}")
    return Message(morning_identity(base, day), to, head, as_text([*lines, CLOSING]))


def _told(state: FleetState, where: Whereabouts, base: str, day: date) -> _Told:
    jobs = [job for job in standing_jobs(state) if where.concerns(base, job.findings[0])]
    stopped = [job for job in jobs if job.grading == "major" and job.tank is not None]
    unclear = [row for row in _undecided(state) if where.concerns(base, row)]
    return _Told(
        stopped,
        [job for job in jobs if job not in stopped],
        list(_due(state, where, base, day)),
        _changing(state, base, day),
        list(dict.fromkeys(_named(row) for row in unclear)),
    )


def _undecided(state: FleetState) -> list[dict[str, Any]]:
    """Return the findings on what would have to stop, if one knew that it is so."""
    return undecided(standing_findings(state)).filter(pl.col("grading") == "major").to_dicts()


def _opening(told: _Told, base: str, *, known: bool) -> Iterator[str]:
    if not known:
        yield from (STRANGE.format(base=base), "")
    elif not (told.stopped or told.rest or told.due or told.changes):
        yield from (NOTHING.format(base=base, days=DUE_WITHIN.days), "")
    if told.unclear:
        yield from (OPEN.format(places=listed(told.unclear), page=SEE_PAGE), "")


def _summary(told: _Told, *, known: bool) -> str:
    if not known:
        return "not in the register"
    tanks = len({job.tank for job in told.stopped})
    due = len(told.due) + len(told.changes)
    parts = [
        f"{counted(tanks, 'tank')} must not rinse" if tanks else "",
        counted(len(told.rest), "more job" if tanks else "job") if told.rest else "",
        f"{counted(due, 'thing')} due" if due else "",
        f"{counted(len(told.unclear), 'place')} undecided" if told.unclear else "",
    ]
    return ", ".join(part for part in parts if part) or "nothing stands"


def _section(title: str, lines: Sequence[str]) -> list[str]:
    return [title, *lines, ""] if lines else []


def _jobs(jobs: Sequence[Job]) -> list[str]:
    lines = [line for job in jobs[:SHOWN] for line in told_job(job)]
    if (more := len(jobs) - SHOWN) > 0:
        lines.append(f"- And {counted(more, 'more job')}; the page of findings has them all.")
    return lines


def _due(state: FleetState, where: Whereabouts, base: str, day: date) -> Iterator[str]:
    near = state.due.filter(pl.col("falls_due") <= day + DUE_WITHIN)
    for row in near.to_dicts():
        if where.concerns(base, row):
            by = row["falls_due"]
            yield f"- By {by.day} {by:%B}, {_named(row)}: {row['title']}"


def _named(row: dict[str, Any]) -> str:
    if row["tank"]:
        return f"tank {row['tank']}"
    return f"van {row['van']}" if row["van"] else f"{row['subject_kind']} {row['item']}"


def _changing(state: FleetState, base: str, day: date) -> list[dict[str, Any]]:
    near = pl.col("change_by") <= day + CHANGE_WITHIN
    mine = state.tanks.filter(near, pl.col("base") == base, ~pl.col("out_of_use"))
    return mine.sort("change_by", "tank").to_dicts()


def _changes(told: _Told) -> list[str]:
    return [f"- Tank {row['tank']}: by {long_day(row['change_by'])}." for row in told.changes]


def _take_along(state: FleetState, told: _Told) -> Iterator[str]:
    jobs = [*told.stopped, *told.rest]
    tanks = [job.tank for job in jobs if job.work == "resin_change" and job.tank]
    tanks += [row["tank"] for row in told.changes]
    yield from _resin(state, list(dict.fromkeys(tanks)))
    wanted = [job for job in jobs if job.work in TAKEN]
    for job in wanted:
        correction = job.corrections[0] if job.corrections else ""
        line = TAKEN[str(job.work)].format(place=job.place, correction=correction)
        yield f"- {sentence_case(line)}"


def _resin(state: FleetState, tanks: Sequence[str]) -> Iterator[str]:
    known = {row["tank"]: row for row in state.forecast.tanks.to_dicts()}
    for tank in tanks:
        row = known.get(tank, {})
        grade, litres = row.get("grade"), row.get("resin_volume")
        if grade and litres:
            yield f"- Resin for tank {tank}: {litres:g} L of {grade}, as much as is in it now"
        else:
            yield f"- Resin for tank {tank}: its grade and litres are not known from the records"
