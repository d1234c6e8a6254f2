"""What a report is asked about, as an address of ours says it."""

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from flask import request
from marshmallow import ValidationError

from qa_engine.audit import Asked, Scope
from qa_engine.errors import AuditError
from qa_engine.fields import Day, Instant
from qa_engine.subjects import Period
from qa_engine.web.office import now, register
from qa_engine.wording import rfc3339

PLACES = {"bases": "base", "vans": "van", "tanks": "tank", "rule_sets": "rule_set"}
"""The words of an address for each sort of name in a scope."""


def asked() -> Asked:
    """Return what the address asks; as of now, if it does not say as of when.

    Raises:
        AuditError: a day or the instant is missing or wrong; names it and what would do.
    """
    ends = [_day(name, label) for name, label in (("from", "first day"), ("to", "last day"))]
    return Asked(scope(), Period(*ends), _as_of())


def scope() -> Scope:
    """Return the scope that the address names; empty names are left out."""
    return Scope(
        **{
            sort: tuple(dict.fromkeys(filter(None, request.args.getlist(word))))
            for sort, word in PLACES.items()
        }
    )


def address_of(wanted: Asked) -> dict[str, Any]:
    """Return the words of the address that asks the same."""
    names = {PLACES[sort]: list(ids) for sort, ids in wanted.scope.names.items() if ids}
    days = {"from": str(wanted.period.first), "to": str(wanted.period.last)}
    return {**names, **days, "as_of": rfc3339(wanted.as_of)}


def last_month(zone: ZoneInfo) -> dict[str, str]:
    """Return the first and the last day of the month before this one, for a form to begin with."""
    last = now().astimezone(zone).date().replace(day=1) - timedelta(days=1)
    return {"from": str(last.replace(day=1)), "to": str(last)}


def _day(name: str, label: str) -> date:
    written = request.args.get(name, "").strip()
    if not written:
        raise AuditError(f"the {label} is missing; write it as YYYY-MM-DD")
    try:
        day: date = Day().deserialize(written)
    except ValidationError as error:
        raise AuditError(f"the {label}: {error.messages[0]}") from None
    return day


def _as_of() -> datetime:
    written, present = request.args.get("as_of", "").strip(), now()
    if not written:
        return present
    try:
        moment: datetime = Instant(time_zone=register().zone.key).deserialize(written)
    except ValidationError as error:
        raise AuditError(f"as of: {error.messages[0]}") from None
    if moment > present:
        raise AuditError(f"as of: {written} is still to come; nobody knows then what the book will")
    return moment
