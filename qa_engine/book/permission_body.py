"""A permission as the body of an entry, and back."""

from collections.abc import Mapping
from datetime import UTC, date, datetime
from typing import Any

from qa_engine.permissions import Permission

WRITTEN = ("source", "line", "sha256")
"""Where a permission stood when it was taken in; two that differ only in this are the same."""

MOMENTS = ("requested_on", "approved_on", "begins", "until")


def body_of(permission: Permission) -> dict[str, Any]:
    """Return a permission as JSON can hold it: days and instants in ISO 8601, instants in UTC."""
    held = {n: v for n, v in vars(permission).items() if v is not None and n != "permission"}
    written = {name: held.pop(name) for name in WRITTEN}
    return held | {name: _text(held[name]) for name in MOMENTS} | {"written": written}


def permission_of(id_: str, body: Mapping[str, Any]) -> Permission:
    """Return the permission that an entry holds."""
    absent = dict.fromkeys(("rule", "van", "tank"))
    moments = {name: _moment(body[name]) for name in MOMENTS}
    held = {**absent, **body, **moments, **body["written"]}
    del held["written"]
    return Permission(id_, **held)


def says_the_same(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Tell whether two bodies hold the same permission, wherever each stood."""
    return {**one, "written": None} == {**other, "written": None}


def _text(moment: date) -> str:
    return moment.astimezone(UTC).isoformat() if isinstance(moment, datetime) else str(moment)


def _moment(text: str) -> date:
    return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)
