"""The fleet board: what to do first and why, then every tank, worst first."""

from dataclasses import dataclass
from typing import Any

import polars as pl
from flask import Blueprint, render_template, request

from qa_engine.book.lookout import FleetState
from qa_engine.forecast.whynot import WHY_NOT
from qa_engine.report.jobs import Job, jobs_of
from qa_engine.report.sentences import failing, undecided
from qa_engine.web.access import open_to
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import now, office
from qa_engine.web.portions import alike, portion_of

pages = Blueprint("board", __name__)

SHOWN_JOBS = 7
SHOWN_TANKS = 50
NARROWED_BY = ("base", "van", "rule_set")
SOON_DAYS = 14


@dataclass(frozen=True)
class Choice:
    """What the board is narrowed to; None is everything."""

    base: str | None
    van: str | None
    rule_set: str | None

    def of(self, frame: pl.DataFrame) -> pl.DataFrame:
        """Return the rows of a frame that are in the choice, by the columns that it has."""
        wanted = {name: value for name, value in vars(self).items() if value}
        kept = [pl.col(n) == value for n, value in wanted.items() if n in frame.columns]
        return frame.filter(*kept) if kept else frame


@pages.get("/")
@open_to(*ROLES)
def fleet() -> str:
    """Show the board."""
    choice = Choice(*(request.args.get(name) or None for name in NARROWED_BY))
    state = office().lookout.state(now())
    view = state.once(("board", choice), lambda: _told(choice, state))
    tanks = portion_of(view["tanks"], SHOWN_TANKS)
    told = alike(
        state,
        ("board", choice, tanks.number),
        lambda: render_template("board/told.html", **{**view, "tanks": tanks}),
    )
    return render_template("board/board.html", told=told)


def _told(choice: Choice, state: FleetState) -> dict[str, Any]:
    """Return what the board tells of a choice."""
    found = choice.of(standing(state))
    jobs = jobs_of(failing(found), state.editions)
    return {
        "state": state,
        "choice": choice,
        "choices": _choices(state),
        "jobs": jobs[:SHOWN_JOBS],
        "more": len(jobs) - SHOWN_JOBS,
        "stopped": _places(jobs, of_tanks=True),
        "elsewhere": _places(jobs, of_tanks=False),
        "wanting": len({job.place for job in jobs}),
        "undecided": undecided(found).height,
        "soon": len(_soon(choice.of(state.tanks), state)),
        "tanks": worst_first(choice, state, found).to_dicts(),
        "why_not": WHY_NOT,
    }


def standing(state: FleetState) -> pl.DataFrame:
    """Return the findings that stand without permission, with the base of their van."""
    bases = state.tanks.select("van", "base").unique("van", keep="first")
    rows = state.findings.filter(pl.col("stands") & pl.col("permission").is_null())
    return rows.join(bases, on="van", how="left", maintain_order="left")


def _places(jobs: list[Job], *, of_tanks: bool) -> int:
    """Return at how many tanks, or at how many places that are none, a major finding stands."""
    majors = [job for job in jobs if job.grading == "major"]
    return len({job.place for job in majors if (job.tank is not None) == of_tanks})


def _choices(state: FleetState) -> dict[str, list[str]]:
    tanks = state.tanks
    return {
        "base": tanks["base"].drop_nulls().unique().sort().to_list(),
        "van": tanks["van"].drop_nulls().unique().sort().to_list(),
        "rule_set": list(dict.fromkeys(edition.rule_set for edition in state.editions)),
    }


def _soon(tanks: pl.DataFrame, state: FleetState) -> list[dict[str, Any]]:
    """Return the tanks that may reach their limit within ``SOON_DAYS``, the first one first."""
    today = state.as_of.astimezone(state.register.zone).date()
    near = pl.col("reached_low") <= pl.lit(today) + pl.duration(days=SOON_DAYS)
    return tanks.filter(near).sort("reached_low", "tank").to_dicts()


def worst_first(choice: Choice, state: FleetState, found: pl.DataFrame) -> pl.DataFrame:
    """Return the tanks of a choice, those with the worst findings first.

    Args:
        choice: which tanks are wanted.
        state: what the rules say.
        found: the findings that count, of those that ``standing`` gives.
    """
    counts = (
        found.filter(pl.col("tank").is_not_null())
        .group_by("tank")
        .agg(
            ((pl.col("grading") == grade) & (pl.col("outcome") == "does not conform"))
            .sum()
            .alias(grade)
            for grade in ("major", "minor", "advice")
        )
        .join(undecided(found).group_by("tank").len("undecided"), on="tank", how="left")
    )
    due = state.due.filter(pl.col("tank").is_not_null()).group_by("tank").first()
    columns = due.select("tank", "falls_due", due_title="title")
    at_limit = state.forecast.tanks.select("tank", "at_limit")
    return (
        choice.of(state.tanks)
        .join(counts, on="tank", how="left")
        .join(columns, on="tank", how="left")
        .join(at_limit, on="tank", how="left")
        .with_columns(pl.col("major", "minor", "advice", "undecided").fill_null(0))
        .sort(
            ["major", "minor", "advice", "reached_low", "tank"],
            descending=[True, True, True, False, False],
            nulls_last=True,
        )
    )
