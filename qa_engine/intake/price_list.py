"""Reads what resin, a call-back and a change cost, from a YAML file."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields

from qa_engine.errors import IntakeError, nearest
from qa_engine.forecast.prices import Prices
from qa_engine.yaml_tree import LARGEST_FILE, Document, flatten, read_yaml

MOST_PRICE = 1e9
EXPECTED = f"a price is a number from 0 to {MOST_PRICE:,.0f}, without a currency sign"
LONGEST_CURRENCY = 12


class Price(fields.Field[float]):
    """A price: a number that is not below 0."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> float:
        try:
            number = float(value)
        except (TypeError, ValueError):
            raise ValidationError(EXPECTED) from None
        if not (math.isfinite(number) and 0 <= number <= MOST_PRICE):
            raise ValidationError(EXPECTED)
        return number


class ResinPrice(fields.Field[Any]):
    """The price of a litre of resin, or a mapping from grades to such prices."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, Mapping):
            return _PER_GRADE.deserialize(value)
        return _PRICE.deserialize(value)


_PRICE = Price(required=True)
_PER_GRADE = fields.Dict(keys=fields.String(), values=Price())


class PriceList(Schema):
    """What things cost, all in one currency."""

    class Meta:
        unknown = RAISE

    currency = fields.String(required=True)
    resin = ResinPrice(required=True)
    call_back = Price(required=True)
    early_change = Price(required=True)


def read_prices(path: Path) -> Prices:
    """Read a price list.

    Args:
        path: a YAML file with ``currency``, ``resin`` (a litre, or a mapping from grades),
            ``call_back`` (a vehicle rinsed again) and ``early_change`` (a change besides its
            resin).

    Raises:
        IntakeError: it cannot be used as written; every problem is named with its line.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        raise IntakeError(f"{path}: cannot be read: {error.strerror}") from None
    document = read_yaml(str(path), content)
    problems = [str(problem) for problem in document.problems]
    try:
        written: dict[str, Any] = PriceList().load(document.data)
    except ValidationError as error:
        problems += _told(document, error)
        written = {}
    if not problems and len(written["currency"]) > LONGEST_CURRENCY:
        help = f"write its code or name, at most {LONGEST_CURRENCY} characters"
        problems.append(str(document.problem(("currency",), "this is no currency", help)))
    if problems:
        raise IntakeError("\n\n".join(problems))
    return Prices(**written)


def _told(document: Document, error: ValidationError) -> list[str]:
    found = []
    names = tuple(PriceList().fields)
    for path, text in flatten(error.messages):
        if document.is_refused(path):
            continue
        name = str(path[-1]) if path else ""
        if text == "Unknown field.":
            help = nearest(name, names) or f"its keys are: {', '.join(names)}"
            problem = document.problem(path, f"'{name}' is not a key of a price list", help)
        elif text == "Missing data for required field.":
            what = f"the price list lacks '{name}'"
            problem = document.problem(path[:-1], what, f"add '{name}:'; nothing is assumed for it")
        else:
            what = f"'{name}' cannot be used" if name else "this is no price list"
            problem = document.problem(path, what, text)
        found.append(str(problem))
    return found
