"""Instants and days as a person writes them on the command line."""

from datetime import UTC, date, datetime

import click
from marshmallow import ValidationError

from qa_engine.fields import Day, Instant
from qa_engine.subjects import Period


def instant(text: str | None, time_zone: str) -> datetime:
    """Return the instant that a person wrote, or the present one if none was written."""
    if text is None:
        return datetime.now(UTC)
    try:
        moment: datetime = Instant(time_zone=time_zone).deserialize(text)
    except ValidationError as error:
        raise click.BadParameter(str(error.messages[0]), param_hint="--as-of") from None
    return moment


def known_then(text: str | None, time_zone: str | None) -> datetime | None:
    """Return the instant up to which a book's knowledge counts, or None if none was written."""
    if text is None:
        return None
    try:
        moment: datetime = Instant(time_zone=time_zone).deserialize(text)
    except ValidationError as error:
        raise click.BadParameter(str(error.messages[0]), param_hint="--known-at") from None
    return moment


def period(first: str | None, last: str | None) -> Period | None:
    """Return the period that a person wrote; both ends or neither."""
    if first is None and last is None:
        return None
    if first is None or last is None:
        raise click.UsageError("--from and --to go together: give the first and the last day")
    days = Period(_day(first, "--from"), _day(last, "--to"))
    if days.last < days.first:
        raise click.UsageError(f"the period ends ({last}) before it begins ({first})")
    return days


def _day(text: str, option: str) -> date:
    try:
        day: date = Day().deserialize(text)
    except ValidationError as error:
        raise click.BadParameter(str(error.messages[0]), param_hint=option) from None
    return day
