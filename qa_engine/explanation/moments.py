"""Instants and spans in explanations, by the operator's clock."""

from datetime import datetime
from zoneinfo import ZoneInfo

from qa_engine.explanation.amounts import amount

S_PER_D = 86_400
S_PER_H = 3_600


def moment(instant: datetime, zone: ZoneInfo) -> str:
    """Return an instant for reading, such as ``14 May 2026, 08:10``."""
    local = instant.astimezone(zone)
    return f"{local.day} {local:%b %Y, %H:%M}"


def before(earlier: datetime, later: datetime) -> str:
    """Return how long before an instant another one was."""
    span_s = (later - earlier).total_seconds()
    if span_s == 0:
        return "at that instant"
    if span_s < 0:
        return f"{before(later, earlier).removesuffix('before')}after"
    if span_s < S_PER_D:
        hours = amount(span_s / S_PER_H, None, 2)
        return f"{hours} hour before" if hours == "1" else f"{hours} hours before"
    return f"{amount(span_s / S_PER_D, 'd', 3)} before"
