"""What the rules say of a record once it is kept."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl

from qa_engine.book.lookout import FleetState
from qa_engine.findings import GRADINGS
from qa_engine.report.jobs import Job, jobs_of
from qa_engine.report.sentences import failing, undecided

Finding = dict[str, Any]


@dataclass(frozen=True)
class Verdict:
    """What now holds of a record and of its place.

    Attributes:
        jobs: what its failing findings ask for, worst first.
        undecided: the findings about it that could not be decided.
        settled: those that a later record has settled, or that a permission covers.
        besides: what else stands on its tank or van without permission.
        judged: whether the rules judge records of that kind, and the record is not of later on.
    """

    jobs: list[Job]
    undecided: list[Finding]
    settled: list[Finding]
    besides: list[Finding]
    judged: bool

    @property
    def failing(self) -> list[Finding]:
        """Return the findings about it that stand and do not conform, worst first."""
        rows = [finding for job in self.jobs for finding in job.findings]
        return sorted(map(dict, rows), key=lambda row: GRADINGS.index(row["grading"]))


def verdict_of(row: dict[str, Any], state: FleetState) -> Verdict:
    """Return what the rules say of a record and its place."""
    mine = (pl.col("subject") == row["record"]) | pl.col("evidence").list.contains(row["record"])
    open_ = pl.col("stands") & pl.col("permission").is_null()
    about = state.findings.filter(mine & open_)
    of_itself = pl.col("subject_kind") == row["kind"]
    kinds = {rule.subject for edition in state.editions for rule in edition.rules}
    at: datetime = row["at"]
    return Verdict(
        jobs=jobs_of(failing(about), state.editions),
        undecided=undecided(about).to_dicts(),
        settled=failing(state.findings.filter(mine & of_itself & ~open_)).to_dicts(),
        besides=state.findings.filter(open_ & ~mine & _here(row)).to_dicts(),
        judged=row["kind"] in kinds and at <= state.as_of,
    )


def _here(row: dict[str, Any]) -> pl.Expr:
    column = "tank" if row.get("tank") else "van"
    return pl.col(column).eq(pl.lit(row.get(column), pl.String)).fill_null(False)
