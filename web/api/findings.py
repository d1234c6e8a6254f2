"""Findings, as the JSON report tells them."""

import json
from typing import Any

import polars as pl
from flask import abort
from marshmallow import fields
from marshmallow.validate import Length, OneOf

from qa_engine.book.lookout import FleetState
from qa_engine.fields import LONGEST_ID
from qa_engine.findings import GRADINGS
from qa_engine.report.as_json import finding_lines
from qa_engine.web.api.answers import Answer, Moment
from qa_engine.web.api.calls import Call, Question, call
from qa_engine.web.api.paging import Paged, PageOf, page_of
from qa_engine.web.office import now, office

OUTCOMES = ("does not conform", "undecided")
LIVES = ("standing", "ended", "all")
NAMED = ("tank", "van", "base", "rule_set", "rule", "grading", "outcome")


def _of(meaning: str, *words: str) -> fields.String:
    wanted = OneOf(words, error="one of: {choices}") if words else Length(max=LONGEST_ID)
    return fields.String(validate=wanted, metadata={"description": meaning})


class FindingsAsked(Paged):
    """Which findings are wanted."""

    tank = _of("Only findings of this tank.")
    van = _of("Only findings of this van and its tanks.")
    base = _of("Only findings of vans whose tanks work from this base.")
    rule_set = _of("Only findings by this rule set.")
    rule = _of("Only findings by rules of this name.")
    grading = _of("Only findings of this grading.", *GRADINGS)
    outcome = _of("Only findings with this outcome.", *OUTCOMES)
    life = fields.String(
        load_default=LIVES[0],
        validate=OneOf(LIVES, error="one of: {choices}"),
        metadata={"description": "Whether they still stand."},
    )


class Subject(Answer):
    """What was judged."""

    kind = fields.String(metadata={"description": "A kind of record, or charge, tank, van ..."})
    id = fields.String()


class Amount(Answer):
    """A value with its unit."""

    value = fields.Raw(allow_none=True, metadata={"description": "null where it is not known."})
    unit = fields.String(allow_none=True, metadata={"description": "null for what has none."})


class Finding(Answer):
    """What does not conform to a rule, or could not be decided."""

    finding = fields.String(metadata={"description": "Its name: rule set, rule and subject."})
    rule_set = fields.String()
    rule = fields.String()
    edition = fields.String()
    grading = fields.String(validate=OneOf(GRADINGS))
    outcome = fields.String(validate=OneOf(OUTCOMES))
    subject = fields.Nested(Subject)
    van = fields.String(allow_none=True)
    tank = fields.String(allow_none=True)
    since = Moment(metadata={"description": "When the first of its subjects was."})
    until = Moment(metadata={"description": "When the last of its subjects was."})
    measured = fields.Dict(keys=fields.String(), values=fields.Nested(Amount))
    limits = fields.Dict(keys=fields.String(), values=fields.Nested(Amount))
    decision = fields.Dict(metadata={"description": "How sure the verdict is."})
    missing = fields.List(fields.String(), metadata={"description": "Facts that are not known."})
    evidence = fields.List(fields.String(), metadata={"description": "Ids of records."})
    affected = fields.List(fields.String(), metadata={"description": "Records put in doubt."})
    message = fields.String()
    correction = fields.String(allow_none=True, metadata={"description": "What would do."})
    caution = fields.String(allow_none=True, metadata={"description": "What to mind meanwhile."})
    permission = fields.String(allow_none=True)
    stands = fields.Boolean()
    item = fields.String(allow_none=True, metadata={"description": "What it belongs to."})
    closed_at = Moment(allow_none=True)
    closed_by = fields.List(
        fields.String(), allow_none=True, metadata={"description": "Records that settled it."}
    )


class Findings(PageOf):
    """A page of findings, worst first."""

    findings = fields.List(fields.Nested(Finding))


@call("/findings", Call(Findings, FindingsAsked))
def findings(asked: Question) -> dict[str, Any]:
    """Read findings, worst first."""
    state = office().lookout.state(now())
    name = pl.concat_str("finding", pl.col("since").dt.to_string(), separator=" ")
    page = page_of(_wanted(asked, state), name, asked)
    return {**page.told(state), "findings": told(page.rows)}


@call("/findings/<path:finding>", Call(Finding, refuses=(404,)))
def finding(asked: Question, finding: str) -> dict[str, Any]:
    """Read one finding, by its name; the latest of that name."""
    rows = office().lookout.state(now()).findings.filter(pl.col("finding") == finding)
    return told(rows[-1:])[0] if rows.height else abort(404)


def told(rows: pl.DataFrame) -> list[dict[str, Any]]:
    """Return findings as the JSON report has them."""
    return [json.loads(line) for line in finding_lines(rows)]


def _wanted(asked: Question, state: FleetState) -> pl.DataFrame:
    bases = state.tanks.select("van", "base").drop_nulls("van").unique("van", keep="first")
    frame = state.findings.join(bases, on="van", how="left", maintain_order="left")
    wanted = [pl.col(name) == asked[name] for name in NAMED if name in asked]
    if asked["life"] != "all":
        wanted.append(pl.col("stands") == (asked["life"] == "standing"))
    return frame.filter(pl.lit(value=True), *wanted).drop("base")
