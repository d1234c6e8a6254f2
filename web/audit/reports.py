"""The audit report on a scope and a period: as a page, as PDF and as JSON."""

from typing import Any

from flask import Blueprint, Response, redirect, render_template, request, url_for

from qa_engine.audit import AuditReport, audit_of, choices, json_audit, pdf_audit
from qa_engine.audit.paper import told_of
from qa_engine.errors import AuditError
from qa_engine.plugin_host import installed_plugins
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.audit.asking import address_of, asked, last_month, scope
from qa_engine.web.audit.roles import READERS, WRITER
from qa_engine.web.hardening import brake
from qa_engine.web.office import now, office

pages = Blueprint("reports", __name__, url_prefix="/audit")


@pages.get("/report")
@open_to(*READERS)
def report() -> Any:
    """Show a report; its address says as of when, so that the files of it are the same report."""
    try:
        wanted = asked()
        if "as_of" not in request.args:
            return redirect(url_for(".report", **address_of(wanted)))
        made = _made()
    except AuditError as error:
        return _refused(str(error)), 422
    return render_template(
        "audit/report.html",
        told=told_of(made),
        files=address_of(wanted),
        given=_given(),
        choices=_choices(),
        may_remark=signed_in().role == WRITER,
    )


@pages.get("/report.pdf")
@open_to(*READERS)
def as_pdf() -> Response:
    """Hand out the report as PDF, the file that ``qa-engine audit report`` writes."""
    made = _made()
    return _file(made, pdf_audit(made), "pdf")


@pages.get("/report.json")
@open_to(*READERS)
def as_json() -> Response:
    """Hand out the report as JSON, the file that is attached to the PDF."""
    made = _made()
    return _file(made, json_audit(made).encode(), "json")


def _made() -> AuditReport:
    wanted = asked()
    brake("audit report")
    return audit_of(office().book, wanted, installed_plugins())


def _file(made: AuditReport, content: bytes, form: str) -> Response:
    period = made.asked.period
    answer = Response(content, content_type=f"application/{form}")
    name = f"audit-{period.first}-to-{period.last}.{form}"
    answer.headers.set("Content-Disposition", "attachment", filename=name)
    return answer


def _refused(wrong: str) -> str:
    return render_template("audit/refused.html", wrong=wrong, given=_given(), choices=_choices())


def _given() -> dict[str, Any]:
    """Return what was chosen, for the form to begin with."""
    period = last_month(office().lookout.zone)
    typed = {name: request.args.get(name, period[name]) for name in period}
    return {"period": typed, **scope().names}


def _choices() -> dict[str, tuple[str, ...]]:
    state = office().lookout.state(now())
    return choices(state.register, {}, (one.rule_set for one in state.editions))
