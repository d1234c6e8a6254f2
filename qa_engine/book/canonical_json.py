"""JSON in its one canonical form: RFC 8785, the JSON Canonicalization Scheme.

Instants are written as whole microseconds since 1970-01-01T00:00:00Z, days as "YYYY-MM-DD".
"""

import json
import math
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from qa_engine.errors import BookError

LARGEST_WHOLE = 2**53 - 1
"""The largest whole number that every reader of JSON takes as it is."""

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def canonical_json(value: object) -> str:
    """Return a value as canonical JSON.

    Args:
        value: None, yes or no, a number, a text, an instant, a day, or lists and mappings of them.

    Raises:
        BookError: it holds what JSON cannot say, or a whole number that some readers would round.
    """
    match value:
        case None:
            return "null"
        case bool():
            return "true" if value else "false"
        case int():
            return _whole(value)
        case float() if math.isfinite(value):
            return number_text(value)
        case str():
            return _quoted(value)
        case datetime():
            return str(microseconds(value))
        case date():
            return f'"{value.isoformat()}"'
        case Mapping():
            names = sorted(value, key=_utf16)
            return "{" + ",".join(f"{_quoted(n)}:{canonical_json(value[n])}" for n in names) + "}"
        case list() | tuple():
            return "[" + ",".join(canonical_json(part) for part in value) + "]"
    raise BookError(f"an entry cannot hold {value!r}: JSON has no form for it")


def microseconds(moment: datetime) -> int:
    """Return an instant as whole microseconds since 1970 in UTC."""
    return (moment - EPOCH) // timedelta(microseconds=1)


def number_text(number: float) -> str:
    """Return the one shortest form of a number that reads back as the same number.

    Source: Number::toString of ECMA-262, which RFC 8785 section 3.2.2.3 takes over.
    """
    if not math.isfinite(number):
        return "NaN" if math.isnan(number) else "Infinity" if number > 0 else "-Infinity"
    sign = "-" if math.copysign(1, number) < 0 else ""
    if number == 0:
        return sign + "0"
    _, figures, exponent = Decimal(repr(abs(number))).as_tuple()
    digits = "".join(map(str, figures)).rstrip("0")
    return sign + _placed(digits, len(figures) + int(exponent))


def _placed(digits: str, point: int) -> str:
    """Return digits with the decimal point after as many of them, or with an exponent."""
    if 0 < point <= 21:
        whole, part = digits[:point].ljust(point, "0"), digits[point:]
        return f"{whole}.{part}" if part else whole
    if -6 < point <= 0:
        return "0." + "0" * -point + digits
    mantissa = digits[0] + ("." + digits[1:] if digits[1:] else "")
    return f"{mantissa}e{point - 1:+d}"


def _whole(number: int) -> str:
    if abs(number) > LARGEST_WHOLE:
        raise BookError(f"{number} is too large a whole number to be kept exactly")
    return str(number)


def _utf16(name: object) -> bytes:
    if not isinstance(name, str):
        raise BookError(f"a member is called {name!r}: JSON takes only texts as names")
    return name.encode("utf-16-be", "surrogatepass")


def _quoted(text: str) -> str:
    try:
        text.encode()
    except UnicodeEncodeError:
        raise BookError(f"{text!r} holds half a character, which UTF-8 cannot write") from None
    return json.dumps(text, ensure_ascii=False)
