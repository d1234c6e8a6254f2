"""Which base looks after what, and how jobs are told in a message."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from typing import Any

import polars as pl

from qa_engine.book.lookout import FleetState
from qa_engine.fields import shown
from qa_engine.messages.message import LONGEST_SUBJECT
from qa_engine.report.jobs import Job, jobs_of
from qa_engine.report.sentences import counted, failing, sentence_case
from qa_engine.subjects import item_of

CLOSING = (
    "This is made from the records as they stood then; what was logged since is not in it. It "
    "reminds and approves nothing: the data plate, local codes and competent persons decide."
)

SHOWN_WHY = 3
"""How many of a job's findings are told."""


class Whereabouts:
    """Which base a place belongs to: by the last record that names the van, else the register.

    Args:
        state: what the rules say.
    """

    def __init__(self, state: FleetState) -> None:
        vans = state.register.table("vans")
        valid = vans.filter(pl.col("holds_from") <= state.as_of)
        self._vans = _pairs(valid.unique("van", keep="last", maintain_order=True), "van")
        self._tanks = _pairs(state.tanks, "tank")

    def of(self, finding: Mapping[str, Any]) -> str | None:
        """Return the base of a finding or of a row of what falls due; None if nobody knows."""
        if item_of(finding["subject_kind"]) == "base":
            item: str | None = finding["item"]
            return item
        return self._tanks.get(finding["tank"]) or self._vans.get(finding["van"])

    def concerns(self, base: str, finding: Mapping[str, Any]) -> bool:
        """Tell whether a base is told of a finding: its own, or one that nobody knows the base of.

        What is at no known base would else be told to none.
        """
        return self.of(finding) in (base, None)

    @property
    def bases(self) -> set[str]:
        """Return every base that has a van or a tank."""
        return {*self._vans.values(), *self._tanks.values()}


def _pairs(frame: pl.DataFrame, column: str) -> dict[str | None, str]:
    return dict(frame.select(column, "base").drop_nulls().iter_rows())


def standing_findings(state: FleetState) -> pl.DataFrame:
    """Return the findings that stand without permission."""
    return state.findings.filter(pl.col("stands") & pl.col("permission").is_null())


def standing_jobs(state: FleetState) -> list[Job]:
    """Return the jobs that these findings ask for, worst first."""
    return jobs_of(failing(standing_findings(state)), state.editions)


def told_job(job: Job) -> Iterator[str]:
    """Yield the lines that tell a job: where, what is to be done, why, with what care."""
    done = job.corrections[0] if job.corrections else "See the finding."
    yield f"- {sentence_case(job.place)}: {done}"
    for finding in job.findings[:SHOWN_WHY]:
        yield f"  Why: {finding['message']}"
    if (more := len(job.findings) - SHOWN_WHY) > 0:
        yield f"  And {counted(more, 'more finding')}."
    for caution in job.cautions:
        yield f"  Caution: {caution}"


def subject_line(text: str) -> str:
    """Return a text as the subject of a message: one line, and not too long."""
    return shown(text, LONGEST_SUBJECT)


def long_day(day: date) -> str:
    """Return a day for reading, such as ``Saturday 1 August 2026``."""
    return f"{day:%A} {day.day} {day:%B %Y}"


def clock(instant: datetime, state: FleetState) -> str:
    """Return an instant by the operator's clock, such as ``31 July 2026, 18:00``."""
    here = instant.astimezone(state.register.zone)
    return f"{here.day} {here:%B %Y, %H:%M}"


def as_text(lines: Iterable[str]) -> str:
    """Return lines as the text of a message."""
    return "\n".join(lines) + "\n"
