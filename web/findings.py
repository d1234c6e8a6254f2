"""Findings: the jobs that settle them, what is open, and each finding with what it rests on."""

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import polars as pl
from flask import Blueprint, Response, abort, current_app, render_template, request

from qa_engine.book.lookout import FleetState, history_of
from qa_engine.explanation import ExplanationError
from qa_engine.explanation.as_text import explanation_text
from qa_engine.findings import GRADINGS
from qa_engine.plain_words import named
from qa_engine.report.as_csv import csv_report
from qa_engine.report.as_json import json_report
from qa_engine.report.as_sarif import sarif_report
from qa_engine.report.handbook import Entry, entry_of
from qa_engine.report.jobs import Job, jobs_of
from qa_engine.report.outcome import Report, Tally
from qa_engine.report.places import place
from qa_engine.report.sentences import failing, undecided
from qa_engine.rulesets import Rule
from qa_engine.web import corrections
from qa_engine.web.access import open_to, signed_in, who
from qa_engine.web.accounts import ROLES
from qa_engine.web.answers import ANSWERS, Answers, answers_to, look
from qa_engine.web.entering import DIRECTORS, WORKERS, new_key
from qa_engine.web.evidence import tables_of
from qa_engine.web.office import now, office
from qa_engine.web.permissions import takes_permission
from qa_engine.web.portions import Portion, alike, portion_of

pages = Blueprint("findings", __name__)

NARROWED_BY = ("van", "tank", "rule_set", "grading", "outcome", "rule")
OUTCOMES = ("does not conform", "undecided")
STANDING, ENDED, ALL = "standing", "ended", "all"
SHOWN_JOBS, SHOWN_FINDINGS = 12, 15
"""How many jobs, and how many other findings, one page shows."""

MOST_ENDED = 200
"""How many ended findings are shown; the exports have all."""


@dataclass(frozen=True)
class Choice:
    """What the findings are narrowed to: a value by column, whether they stand, what is done."""

    values: dict[str, str]
    life: str
    answer: str | None = None

    def of(self, findings: pl.DataFrame) -> pl.DataFrame:
        """Return the findings of the choice, whether or not they stand."""
        return findings.filter(pl.lit(True), *(pl.col(n) == v for n, v in self.values.items()))


def _asked() -> Choice:
    values = {name: value for name in NARROWED_BY if (value := request.args.get(name))}
    life, answer = request.args.get("life"), request.args.get("answer")
    answer = answer if answer in ANSWERS else None
    return Choice(values, life if life in (ENDED, ALL) else STANDING, answer)


@pages.get("/findings")
@open_to(*ROLES)
def all_findings() -> str:
    """Show the findings of a choice, led by the jobs that settle them."""
    choice, state = _asked(), office().lookout.state(now())
    # A state is another one after each entry of the book, so what is answered is part of it.
    answers = state.once("answers", lambda: answers_to(state))
    name = ("findings", choice.life, choice.answer, *sorted(choice.values.items()))
    view = state.once(name, lambda: _told(choice, state, answers))
    lists = Lists(
        portion_of(view["jobs"], SHOWN_JOBS),
        portion_of(view["undecided"], SHOWN_FINDINGS, "undecided"),
        portion_of(view["permitted"], SHOWN_FINDINGS, "permitted"),
    )
    told = alike(
        state, (*name, *lists.numbers), lambda: _in_words(choice, state, view, lists, answers)
    )
    return render_template("findings/findings.html", told=told)


@dataclass(frozen=True)
class Lists:
    """The portions that a page shows of its lists."""

    jobs: Portion[Job]
    undecided: Portion[dict[str, Any]]
    permitted: Portion[dict[str, Any]]

    @property
    def numbers(self) -> tuple[int, ...]:
        """Return which portions they are."""
        return self.jobs.number, self.undecided.number, self.permitted.number


def _in_words(
    choice: Choice, state: FleetState, view: dict[str, Any], lists: Lists, answers: Answers
) -> str:
    explained = [with_meanings(row, state) for row in lists.undecided.items]
    return render_template(
        "findings/told.html",
        **view,
        state=state,
        choice=choice,
        jobs_now=lists.jobs,
        undecided_now=replace(lists.undecided, items=explained),
        permitted_now=lists.permitted,
        may_log=_may_log(),
        may_direct=signed_in().role in DIRECTORS,
        answers=answers,
        look=look,
        named=named,
    )


def _told(choice: Choice, state: FleetState, answers: Answers) -> dict[str, Any]:
    """Return what there is to tell of a choice."""
    chosen = choice.of(state.findings)
    standing, ended = chosen.filter("stands"), chosen.filter(~pl.col("stands"))
    standing = _answered(standing, choice, answers)
    if choice.life == ENDED:
        standing = standing.clear()
    open_ = standing.filter(pl.col("permission").is_null())
    return {
        "choices": state.once("choices of findings", lambda: _choices(state.findings)),
        "failing": failing(open_).height,
        "jobs": jobs_of(failing(open_), state.editions),
        "undecided": _placed(undecided(open_)),
        "permitted": _placed(standing.filter(pl.col("permission").is_not_null())),
        "ended": _latest(ended) if choice.life != STANDING else [],
        "ended_in_all": ended.height,
    }


def _answered(findings: pl.DataFrame, choice: Choice, answers: Answers) -> pl.DataFrame:
    """Return the findings about which is done what the choice says."""
    if choice.answer is None:
        return findings
    rows = findings.select("finding", "permission").iter_rows(named=True)
    return findings.filter(
        pl.Series([choice.answer in answers.words(row) for row in rows], dtype=pl.Boolean)
    )


def _choices(findings: pl.DataFrame) -> dict[str, list[str]]:
    found = {n: findings[n].drop_nulls().unique().sort().to_list() for n in NARROWED_BY[:3]}
    return {**found, "grading": list(GRADINGS), "outcome": list(OUTCOMES), "answer": list(ANSWERS)}


def _placed(findings: pl.DataFrame) -> list[dict[str, Any]]:
    return findings.with_columns(place().alias("place")).to_dicts()


def _latest(ended: pl.DataFrame) -> list[dict[str, Any]]:
    latest = ended.sort("since", "finding", descending=[True, False]).head(MOST_ENDED)
    return _placed(latest)


def _may_log() -> bool:
    access = getattr(current_app.view_functions.get("log.form"), "open_to", None)
    return access is not None and access.admits(who())


def with_meanings(finding: dict[str, Any], state: FleetState) -> dict[str, Any]:
    """Return a finding with the title of its rule and what each missing fact means."""
    facts = state.inspection.catalogue.facts_of(finding["subject_kind"])
    meanings = {name: facts[name].meaning if name in facts else None for name in finding["missing"]}
    rule = _rule_of(finding, state)
    return {**finding, "title": rule.title if rule else finding["rule"], "meanings": meanings}


def _rule_of(finding: dict[str, Any], state: FleetState) -> Rule | None:
    named = tuple(finding[name] for name in ("rule_set", "edition", "rule"))
    rules = (rule for edition in state.editions for rule in edition.rules)
    return next((r for r in rules if (r.rule_set, r.edition, r.rule) == named), None)


# A finding is named by its rule and its subject, between slashes.
@pages.get("/findings/<path:finding>", merge_slashes=False)
@open_to(*ROLES)
def one(finding: str) -> str:
    """Show a finding and what it rests on."""
    state = office().lookout.state(now())
    rows = _placed(state.findings.filter(pl.col("finding") == finding))
    if not rows:
        abort(404)
    row = with_meanings(rows[-1], state)
    groups = {name: row[name] or [] for name in ("evidence", "affected", "closed_by")}
    role, answers = signed_in().role, answers_to(state)
    return render_template(
        "findings/finding.html",
        state=state,
        finding=row,
        measured=json.loads(row["measured"]),
        limits=json.loads(row["limits"]),
        rule=_entry_of(row, state),
        evidence=tables_of(groups, state.kept),
        stood=history_of(office().book, finding),
        explanation=_explained(finding, state) if request.args.get("explain") else None,
        may_log=_may_log(),
        may_work=role in WORKERS,
        may_direct=role in DIRECTORS,
        may_see_versions=role in corrections.READERS,
        takes_permission=takes_permission(_rule_of(row, state)),
        answers=answers,
        people=sorted(account.person for account in office().accounts.all()),
        new_key=new_key,
        look=look,
        named=named,
    )


def _entry_of(finding: dict[str, Any], state: FleetState) -> Entry | None:
    rule = _rule_of(finding, state)
    return entry_of(rule) if rule else None


def _explained(finding: str, state: FleetState) -> str:
    try:
        explained = office().lookout.explained(finding, state)
    except ExplanationError as error:
        return str(error)
    return explanation_text(explained, state.register.zone)


def _export(write: Callable[[Report], str], kind: str, ending: str) -> Response:
    """Answer with the report on all findings, as a file."""
    state = office().lookout.state(now())
    read = state.inspection.used + state.inspection.later
    day = state.as_of.astimezone(state.register.zone).date()
    answer = Response(write(Report(state.inspection, Tally(read))), content_type=kind)
    answer.headers.set("Content-Disposition", "attachment", filename=f"findings-{day}.{ending}")
    return answer


@pages.get("/findings.csv")
@open_to(*ROLES, scope="read")
def as_csv() -> Response:
    """Give the findings as CSV."""
    return _export(csv_report, "text/csv; charset=utf-8", "csv")


@pages.get("/findings.json")
@open_to(*ROLES, scope="read")
def as_json() -> Response:
    """Give the report as JSON."""
    return _export(json_report, "application/json", "json")


@pages.get("/findings.sarif")
@open_to(*ROLES, scope="read")
def as_sarif() -> Response:
    """Give the report as a SARIF log."""
    return _export(sarif_report, "application/sarif+json", "sarif")
