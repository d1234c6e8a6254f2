"""Permissions: for whom, where and how long a requirement need not be met, and by whose leave.

A *deviation permit* is given before the event, a *concession* after it. Neither changes a verdict:
what does not conform is still a finding and still counted, with the permission it is under. Whether
a permission holds at an instant is for ``in_force`` alone to say.
"""

from qa_engine.permissions.account import LOOKED_AT, Account, accounts_of
from qa_engine.permissions.circumstances import (
    COVERS_NOTHING,
    IN_FORCE,
    LAPSED,
    NOT_YET,
    Circumstances,
)
from qa_engine.permissions.covering import Codes, covered
from qa_engine.permissions.faults import Fault, faults_of
from qa_engine.permissions.permission import (
    CONCESSION,
    DEVIATION_PERMIT,
    Permission,
    in_force,
    span,
)
from qa_engine.permissions.reading import Permissions, read_permissions

__all__ = [
    "CONCESSION",
    "COVERS_NOTHING",
    "DEVIATION_PERMIT",
    "IN_FORCE",
    "LAPSED",
    "LOOKED_AT",
    "NOT_YET",
    "Account",
    "Circumstances",
    "Codes",
    "Fault",
    "Permission",
    "Permissions",
    "accounts_of",
    "covered",
    "faults_of",
    "in_force",
    "read_permissions",
    "span",
]
