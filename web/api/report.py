"""The whole report as JSON: what ``qa-engine inspect --format json`` writes."""

from flask import Response
from marshmallow import fields

from qa_engine.coverage import SCHEMA as COVERAGE
from qa_engine.report.as_json import json_pieces
from qa_engine.report.outcome import Report, Tally
from qa_engine.web.api.answers import Answer, Moment, schema_of
from qa_engine.web.api.calls import Call, Question, call
from qa_engine.web.api.findings import Finding, Subject
from qa_engine.web.office import now, office


class DutyOfReport(Answer):
    """What falls due, in a report."""

    rule_set = fields.String()
    rule = fields.String()
    subject = fields.Nested(Subject)
    van = fields.String(allow_none=True)
    tank = fields.String(allow_none=True)
    falls_due = fields.Date()


Covered = schema_of("Coverage", COVERAGE, {}, COVERAGE)


class ReportTold(Answer):
    """What the rules say of the whole book as of now."""

    report = fields.Integer(metadata={"description": "The version of the form of reports."})
    as_of = Moment()
    period = fields.Dict(allow_none=True)
    complete = fields.Boolean(metadata={"description": "Whether all was read and judged."})
    engine = fields.Dict()
    rule_sets = fields.List(fields.Dict())
    plugins = fields.List(fields.Dict())
    records = fields.Dict(keys=fields.String(), values=fields.Integer())
    inputs = fields.Dict()
    coverage = fields.List(fields.Nested(Covered))
    findings = fields.List(fields.Nested(Finding))
    due = fields.List(fields.Nested(DutyOfReport))
    permissions = fields.List(fields.Dict())
    open_outside_period = fields.List(fields.Nested(Finding))


@call("/report", Call(ReportTold))
def report(asked: Question) -> Response:
    """Read the whole report, as a file of it would be."""
    state = office().lookout.state(now())
    read = state.inspection.used + state.inspection.later
    pieces = json_pieces(Report(state.inspection, Tally(read)))
    return Response(pieces, content_type="application/json")
