"""Instants as the outbox keeps them: whole microseconds since 1970."""

from datetime import UTC, datetime, timedelta

BEGAN = datetime(1970, 1, 1, tzinfo=UTC)


def micros(moment: datetime) -> int:
    """Return an instant as microseconds."""
    return (moment - BEGAN) // timedelta(microseconds=1)


def instant(micros: int) -> datetime:
    """Return the instant that microseconds stand for."""
    return BEGAN + timedelta(microseconds=micros)
