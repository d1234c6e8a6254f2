"""The audit: what an auditor files about a scope and a period, and what auditors enter."""

from qa_engine.audit.as_json import json_audit
from qa_engine.audit.as_pdf import pdf_audit
from qa_engine.audit.remarks import Remark, enter_remark, remarks_in
from qa_engine.audit.report import Asked, AuditReport, audit_of
from qa_engine.audit.scope import Scope, choices
from qa_engine.audit.sentences import CAUTIONS, sentences

__all__ = [
    "CAUTIONS",
    "Asked",
    "AuditReport",
    "Remark",
    "Scope",
    "audit_of",
    "choices",
    "enter_remark",
    "json_audit",
    "pdf_audit",
    "remarks_in",
    "sentences",
]
