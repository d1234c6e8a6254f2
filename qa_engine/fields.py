"""The kinds of value a record or register may hold, as marshmallow fields.

Each field says what it takes in one sentence (``expected``) and which polars type its column has
(``dtype``), so that the columnar check of the intake can be compiled from the schema itself.
Values arrive as they were written: text from CSV and JSON Lines, native values from Parquet.
"""

import math
import re
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import polars as pl
from marshmallow import ValidationError, fields, missing

from qa_engine.errors import UnitError, nearest
from qa_engine.units import conversion

NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
"""What a plain number looks like; ASCII digits only, no separators."""

NOT_A_MEASUREMENT = ("nan", "inf", "+inf", "-inf", "infinity", "+infinity", "-infinity")
"""Cells that hold no measurement, in lower case; they count as missing, never as a value."""

LONGEST_ID = 64
LONGEST_NOTE = 2000
CONTROL = r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]"
"""Characters that no text may have: those that steer a screen; tabs and line breaks may be."""

YES = ("yes", "true")
NO = ("no", "false")
FIRST_YEAR, LAST_YEAR = 1900, 2199
DAY = r"(?:19|2[01])[0-9]{2}-[0-9]{2}-[0-9]{2}"
HOUR_MINUTE = r"(?:[01][0-9]|2[0-3]):[0-5][0-9]"
CLOCK = HOUR_MINUTE + r"(?::[0-5][0-9](?:\.[0-9]{1,6})?)?"
OFFSET = r"(?:[Zz]|[+-]" + HOUR_MINUTE + ")"


class Refusal(str):
    """The text of a refusal, which also keeps its parts.

    Attributes:
        fault: what was written and what is wrong with it.
        why: what is wrong with it, such as "is not a number".
        expected: what would do.
    """

    fault: str
    why: str
    expected: str

    def __new__(cls, why: str, expected: str, *written: object) -> "Refusal":
        fault = f"'{shown(written[0])}' {why}" if written else why
        self = super().__new__(cls, f"{fault}; expected {expected}")
        self.fault, self.why, self.expected = fault, why, expected
        return self


def shown(written: object, longest: int = 60) -> str:
    """Return a value as a message may show it: short, and nothing in it steers a screen."""
    text = str(written)
    text = text if text.isprintable() else repr(text)[1:-1]
    return text if len(text) <= longest else text[: longest - 3] + "..."


class RecordField(fields.Field[Any]):
    """A field that knows its column type and can say what it expects.

    An empty cell is a missing value: it fills nothing, and a required field refuses it.
    """

    dtype: pl.DataType = pl.String()

    @property
    def expected(self) -> str:
        raise NotImplementedError(type(self).__name__)

    def refuse(self, written: object, why: str) -> ValidationError:
        """Return the refusal of a value: what was written, why not, what would do."""
        return ValidationError(Refusal(why, self.expected, written))

    def make_error(self, key: str, **kwargs: Any) -> ValidationError:
        if key in ("required", "null"):
            return ValidationError(Refusal("missing", self.expected))
        return super().make_error(key, **kwargs)

    def deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Any:
        empty = value is None or (isinstance(value, str) and not value.strip(" "))
        found = super().deserialize(missing if empty else value, *args, **kwargs)
        if found is not None:
            return found
        if self.required:
            raise self.make_error("required")
        return missing


class Quantity(RecordField):
    """A number in the field's unit, or one with a compatible unit of the closed list.

    Args:
        unit: the unit of the column; a plain number is in this unit.
        low, high: the range a value may have, inclusive, in this unit.
        whole: whether only whole numbers are taken.
    """

    dtype = pl.Float64()

    def __init__(
        self, unit: str, low: float, high: float, *, whole: bool = False, **kw: Any
    ) -> None:
        super().__init__(**kw)
        self.unit, self.low, self.high, self.whole = unit, low, high, whole

    @property
    def expected(self) -> str:
        number = "a whole number" if self.whole else "a number"
        unit = "" if self.unit in ("1", "count") else f" in {self.unit}, or one with its unit,"
        return f"{number}{unit} from {self.low:.10g} to {self.high:.10g}"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> float | None:
        number = self._of_text(value) if isinstance(value, str) else self._of_number(value)
        if number is None:
            return None
        if not self.low <= number <= self.high:
            side, edge = ("below", self.low) if number < self.low else ("above", self.high)
            unit = "" if self.unit in ("1", "count") else f" {self.unit}"
            raise self.refuse(value, f"lies {side} {edge:.10g}{unit}")
        if self.whole and not number.is_integer():
            raise self.refuse(value, "is not a whole number")
        return number + 0.0  # no minus zero

    def _of_number(self, value: object) -> float | None:
        if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
            raise self.refuse(value, "is not a number")
        try:
            number = float(value)
        except OverflowError:
            raise self.refuse(value, "is too large to be a measurement") from None
        return number if math.isfinite(number) else None

    def _of_text(self, written: str) -> float | None:
        text = written.strip(" ")
        if text.lower() in NOT_A_MEASUREMENT:
            return None
        found = re.fullmatch(rf"({NUMBER})(?: *([^0-9 ].*))?", text, re.DOTALL)
        if not found or (found[2] and found[2][0] in "_.,'"):
            raise self.refuse(written, "is not a number")
        number = self._in_own_unit(written, float(found[1]), found[2] or self.unit)
        if math.isinf(number):
            raise self.refuse(written, "is too large to be a measurement")
        return number

    def _in_own_unit(self, written: str, number: float, unit: str) -> float:
        try:
            return number if unit == self.unit else conversion(unit, self.unit).apply(number)
        except UnitError as error:
            raise self.refuse(written, f"has a wrong unit: {shown(error, 200)}") from None


class Identifier(RecordField):
    """An id: printable characters without spaces at its ends."""

    expected = f"an id of 1 to {LONGEST_ID} printable characters without spaces at its ends"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str:
        if not isinstance(value, str):
            raise self.refuse(value, "is not a text")
        if value != value.strip():
            raise self.refuse(value, "has a space at an end")
        if not value.isprintable():
            raise self.refuse(value, "has a character that cannot be printed")
        if len(value) > LONGEST_ID:
            raise self.refuse(value, f"has {len(value)} characters")
        return value


class Text(RecordField):
    """Free words of a crew."""

    expected = f"a text of at most {LONGEST_NOTE} characters"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str:
        if not isinstance(value, str):
            raise self.refuse(value, "is not a text")
        if len(value) > LONGEST_NOTE:
            raise self.refuse(value, f"has {len(value)} characters")
        if re.search(CONTROL, value):
            raise self.refuse(value, "has a control character")
        return value


class Word(RecordField):
    """One word of a closed list, written exactly."""

    def __init__(self, *words: str, **kw: Any) -> None:
        super().__init__(**kw)
        self.words = words

    @property
    def expected(self) -> str:
        return "one of: " + ", ".join(self.words)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str:
        if value not in self.words:
            hint = nearest(str(value), self.words)
            raise self.refuse(value, f"is not known ({hint})" if hint else "is not known")
        return str(value)


class YesNo(RecordField):
    """yes or no; true and false are taken too, in any case."""

    dtype = pl.Boolean()
    expected = "yes or no"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> bool:
        text = str(value).lower()
        if text not in (*YES, *NO):
            raise self.refuse(value, "is neither yes nor no")
        return text in YES


class Day(RecordField):
    """A calendar day, written YYYY-MM-DD."""

    dtype = pl.Date()
    expected = f"a day written YYYY-MM-DD, from the years {FIRST_YEAR} to {LAST_YEAR}"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> date:
        if isinstance(value, str):
            value = self._of_text(value)
        if not isinstance(value, date) or isinstance(value, datetime):
            raise self.refuse(value, "is not a day")
        if not FIRST_YEAR <= value.year <= LAST_YEAR:
            raise self.refuse(value, "is no likely day")
        return value

    def _of_text(self, written: str) -> date:
        if not re.fullmatch(DAY, written):
            raise self.refuse(written, "is not a day")
        try:
            return date.fromisoformat(written)
        except ValueError:
            raise self.refuse(written, "is not a day of the calendar") from None


@cache
def zone_names() -> frozenset[str]:
    """Return the names of all time zones that can be told here."""
    return frozenset(available_timezones())


class TimeZone(RecordField):
    """The name of a time zone in the IANA time zone database."""

    expected = "a time zone such as Etc/UTC or the one named after a large city near by"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str:
        if not isinstance(value, str) or value not in zone_names():
            hint = nearest(str(value), sorted(zone_names()))
            raise self.refuse(value, f"is not known ({hint})" if hint else "is not known")
        return str(value)


class Instant(RecordField):
    """A moment written as RFC 3339 says, with its offset from UTC.

    A local time, without offset, is taken only when the caller named a time zone, and then only
    where the clocks there showed it exactly once.
    """

    dtype = pl.Datetime("us", "UTC")
    expected = "a time with its offset, such as 2026-03-01T08:15:00+01:00"

    def __init__(self, *, time_zone: str | None = None, **kw: Any) -> None:
        super().__init__(**kw)
        self.time_zone = time_zone

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> datetime:
        moment = self._of_text(value) if isinstance(value, str) else value
        if not isinstance(moment, datetime):
            raise self.refuse(value, "is not a time")
        if not FIRST_YEAR <= moment.year <= LAST_YEAR:
            raise self.refuse(value, f"is not of the years {FIRST_YEAR} to {LAST_YEAR}")
        if moment.tzinfo is None:
            moment = self._in_zone(value, moment)
        return moment.astimezone(UTC)

    def _of_text(self, written: str) -> datetime:
        if not re.fullmatch(rf"{DAY}[Tt ]{CLOCK}{OFFSET}?", written):
            raise self.refuse(written, "is not a time")
        try:
            return datetime.fromisoformat(written.upper())
        except ValueError:
            raise self.refuse(written, "is not a time of the calendar") from None

    def _in_zone(self, written: object, local: datetime) -> datetime:
        if self.time_zone is None:
            raise self.refuse(written, "has no offset and no --time-zone was given")
        zone = ZoneInfo(self.time_zone)
        early, late = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
        if early.utcoffset() == late.utcoffset():
            return early
        skipped = early.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != local
        why = "was skipped when" if skipped else "came twice when"
        raise self.refuse(written, f"{why} the clocks of {self.time_zone} changed")
