"""The audit report as PDF/A-3a and PDF/UA-1, with the report as JSON attached.

The same report gives the same bytes with the same typesetter: only its own fonts are used, the day
of the document is that of the report, and nothing is fetched.
"""

import json
from datetime import UTC
from importlib.resources import files
from typing import TYPE_CHECKING

from qa_engine.audit.as_json import json_audit
from qa_engine.audit.paper import paper_of
from qa_engine.audit.report import AuditReport
from qa_engine.errors import AuditError

if TYPE_CHECKING:
    import typst

TEMPLATE = "report.typ"
STANDARDS: "list[typst.PDFStandard]" = ["a-3a", "ua-1"]
NEEDED = "a report as PDF needs 'typst', which is not installed; install qa-engine[pdf]"


def pdf_audit(report: AuditReport) -> bytes:
    """Return the report as PDF.

    Raises:
        AuditError: what sets it is not installed.
    """
    try:
        import typst
    except ImportError:
        raise AuditError(NEEDED) from None
    made = typst.compile(
        files(__package__).joinpath(TEMPLATE).read_bytes(),
        format="pdf",
        ignore_system_fonts=True,
        sys_inputs=inputs_of(report),
        pdf_standards=STANDARDS,
        timestamp=report.asked.as_of.astimezone(UTC).replace(microsecond=0),
    )
    if not isinstance(made, bytes):
        raise TypeError("one PDF is expected")
    return made


def inputs_of(report: AuditReport) -> dict[str, str]:
    """Return what the template is given: the report to attach, and what stands on the paper."""
    paper = json.dumps(paper_of(report), ensure_ascii=False)
    return {"report": json_audit(report), "paper": paper}
