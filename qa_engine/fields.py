"""The kinds of value a record or register may hold, as marshmallow fields.

Each field says what it takes in one sentence (``expected``) and which polars type its column has
(``dtype``), so that the columnar check of the intake can be compiled from the schema itself.
Values arrive as they were written: text from CSV and JSON Lines, native values from Parquet.
"""

import math
import re
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl
from marshmallow import ValidationError, fields

from qa_engine.errors import UnitError, nearest
from qa_engine.units import conversion

NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
"""What a plain number looks like; ASCII digits only, no separators."""

NOT_A_MEASUREMENT = ("", "nan", "inf", "+inf", "-inf", "infinity", "+infinity", "-infinity")
"""Cells that hold no measurement, in lower case; they count as missing, never as a value."""

IDENTIFIER = r"[^\s\x00-\x1f\x7f](?:[^\x00-\x1f\x7f]{0,62}[^\s\x00-\x1f\x7f])?"
YES = ("yes", "true")
NO = ("no", "false")
DAY = r"[0-9]{4}-[0-9]{2}-[0-9]{2}"
INSTANT = DAY + r"[Tt ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,6})?)?"
OFFSET = r"(?:[Zz]|[+-][0-9]{2}:[0-9]{2})"
LONGEST_NOTE = 2000


class RecordField(fields.Field[Any]):
    """A field that knows its column type and can say what it expects."""

    dtype: pl.DataType = pl.String()

    @property
    def expected(self) -> str:
        raise NotImplementedError(type(self).__name__)

    def refuse(self, written: object, why: str = "") -> ValidationError:
        """Return the refusal of a value: what was written, why not, what would do."""
        return ValidationError(f"'{written}' {why or 'cannot be taken'}; expected {self.expected}")


class Quantity(RecordField):
    """A number in the field's unit, or one with a compatible unit of the closed list.

    Args:
        unit: the unit of the column; a plain number is in this unit.
        low, high: the range a value may have, inclusive, in this unit.
        whole: whether only whole numbers are taken.
    """

    dtype = pl.Float64()

    def __init__(self, unit: str, low: float, high: float, *, whole: bool = False, **kw: Any):
        super().__init__(**kw)
        self.unit, self.low, self.high, self.whole = unit, low, high, whole

    @property
    def expected(self) -> str:
        number = "a whole number" if self.whole else "a number"
        unit = "" if self.unit in ("1", "count") else f" in {self.unit}, or one with its unit,"
        return f"{number}{unit} from {self.low:g} to {self.high:g}"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> float | None:
        if isinstance(value, bool):
            raise self.refuse(value, "is not a number")
        number = self._number(str(value)) if isinstance(value, str) else float(value)
        if number is None or not math.isfinite(number):
            return None
        if not self.low <= number <= self.high:
            side = "below" if number < self.low else "above"
            edge = self.low if number < self.low else self.high
            raise self.refuse(value, f"lies {side} {edge:g} {self.unit}")
        if self.whole and number != int(number):
            raise self.refuse(value, "is not a whole number")
        return number

    def _number(self, written: str) -> float | None:
        text = written.strip(" ")
        if text.casefold() in NOT_A_MEASUREMENT:
            return None
        found = re.fullmatch(rf"({NUMBER})(?: *(\D.*))?", text, re.ASCII | re.DOTALL)
        if not found:
            raise self.refuse(written, "is not a number")
        number = float(found[1])
        if math.isinf(number):
            raise self.refuse(written, "is too large to be a measurement")
        if found[2] is None or found[2] == self.unit:
            return number
        try:
            return conversion(found[2], self.unit).apply(number)
        except UnitError as error:
            raise self.refuse(written, f"has a wrong unit: {error}") from None


class Identifier(RecordField):
    """An id: 1 to 64 printable characters without spaces at its ends."""

    expected = "an id of 1 to 64 printable characters without spaces at its ends"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str | None:
        if value == "":
            return None
        if not isinstance(value, str) or not re.fullmatch(IDENTIFIER, value):
            raise self.refuse(value, "is not an id")
        return value


class Text(RecordField):
    """Free words of a crew, of at most ``LONGEST_NOTE`` characters."""

    expected = f"a text of at most {LONGEST_NOTE} characters"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str | None:
        text = str(value)
        if len(text) > LONGEST_NOTE:
            raise self.refuse(f"{text[:20]}...", f"has {len(text)} characters")
        return text or None


class Word(RecordField):
    """One word of a closed list, written exactly."""

    def __init__(self, *words: str, **kw: Any):
        super().__init__(**kw)
        self.words = words

    @property
    def expected(self) -> str:
        return "one of: " + ", ".join(self.words)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str | None:
        if value == "":
            return None
        if value not in self.words:
            raise self.refuse(value, nearest(str(value), self.words).rstrip("?") or "is not known")
        return str(value)


class YesNo(RecordField):
    """yes or no; true and false are taken too, in any case."""

    dtype = pl.Boolean()
    expected = "yes or no"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> bool | None:
        text = str(value).casefold()
        if text == "":
            return None
        if text not in (*YES, *NO):
            raise self.refuse(value, "is neither yes nor no")
        return text in YES


class Day(RecordField):
    """A calendar day, written YYYY-MM-DD."""

    dtype = pl.Date()
    expected = "a day written YYYY-MM-DD"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> date | None:
        if value == "":
            return None
        if isinstance(value, date) and not isinstance(value, datetime):
            return value
        if isinstance(value, str) and re.fullmatch(DAY, value):
            try:
                return date.fromisoformat(value)
            except ValueError:
                raise self.refuse(value, "is not a day of the calendar") from None
        raise self.refuse(value, "is not a day")


class Instant(RecordField):
    """A moment written as RFC 3339 says, with its offset from UTC.

    A local time, without offset, is taken only when the caller named a time zone, and then only
    where the clocks there showed it exactly once.
    """

    dtype = pl.Datetime("us", "UTC")
    expected = "a time with its offset, such as 2026-03-01T08:15:00+01:00"

    def __init__(self, *, time_zone: str | None = None, **kw: Any):
        super().__init__(**kw)
        self.time_zone = time_zone

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> datetime | None:
        if value == "":
            return None
        if isinstance(value, str):
            found = re.fullmatch(rf"({INSTANT})({OFFSET})?", value)
            value = self._moment(value) if found else value
        if not isinstance(value, datetime):
            raise self.refuse(value, "is not a time")
        if value.tzinfo is None:
            value = self._in_zone(value)
        return value.astimezone(UTC)

    def _moment(self, written: str) -> datetime:
        try:
            moment = datetime.fromisoformat(written.upper())
            moment.utctimetuple()
        except (ValueError, OverflowError):
            raise self.refuse(written, "is not a time of the calendar") from None
        return moment

    def _in_zone(self, local: datetime) -> datetime:
        written = local.isoformat()
        if self.time_zone is None:
            raise self.refuse(written, "has no offset and no --time-zone was given")
        zone = ZoneInfo(self.time_zone)
        early, late = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
        if early.utcoffset() == late.utcoffset():
            return early
        skipped = early.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != local
        why = "was skipped when" if skipped else "came twice when"
        raise self.refuse(written, f"{why} the clocks of {self.time_zone} changed")
