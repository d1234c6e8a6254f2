"""Column heads: the field a column fills, and the unit its plain numbers are in."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from qa_engine.errors import IntakeError, UnitError, nearest
from qa_engine.fields import Quantity, RecordField, shown
from qa_engine.records import RECORD_FIELDS
from qa_engine.units import conversion

ALWAYS = ("record", "kind", "at")
"""The columns without which no row of a file can be a record."""


REFUSED_IN = "refused in"
REFUSED_LINE = "refused line"
REFUSED_BECAUSE = "refused because"
NOT_RECORDED = (REFUSED_IN, REFUSED_LINE, REFUSED_BECAUSE)
"""Columns of refused rows that were written down to be mended; they are read over."""


class Head(NamedTuple):
    """The head of a column: ``water_used [gal]`` has the name water_used and the unit gal."""

    name: str
    unit: str | None


def read_heads(
    place: str, written: Sequence[str], fields: Mapping[str, RecordField]
) -> tuple[Head, ...]:
    """Return the heads of a table's columns.

    Args:
        place: the file, or the file and line, for messages.
        written: the heads as written.
        fields: the fields that a column may fill.

    Raises:
        IntakeError: a column is unknown, stands twice or has a wrong unit; every such column
            is named, with the nearest known name.
    """
    heads = tuple(_split(one) for one in written)
    problems = [why for head in heads if (why := _problem(head, fields))]
    counted = Counter(head.name for head in heads if head.name in fields)
    problems += [f"the column '{name}' stands {n} times" for name, n in counted.items() if n > 1]
    if len(heads) == 1 and re.search(r"[;\t|]", written[0]):
        problems = ["the columns must be separated by commas"]
    if problems:
        raise IntakeError("\n".join(f"{place}: {problem}" for problem in problems))
    return heads


def read_record_heads(place: str, written: Sequence[str]) -> tuple[Head, ...]:
    """Return the heads of a table of records.

    Raises:
        IntakeError: as ``read_heads``, or a column that every record needs is not there.
    """
    heads = read_heads(place, written, RECORD_FIELDS)
    present = {head.name for head in heads}
    for name in ALWAYS:
        if name not in present:
            raise IntakeError(f"{place}: there is no column '{name}', which every record needs")
    return heads


def units_of(heads: Sequence[Head]) -> dict[str, str]:
    """Return the units that heads gave, by field."""
    return {head.name: head.unit for head in heads if head.unit is not None}


def _split(written: str) -> Head:
    found = re.fullmatch(r"([^\[\]]*)(?:\[([^\[\]]*)\])?", written.strip())
    if not found:
        return Head(written.strip(), None)
    unit = found[2]
    return Head(found[1].strip(), None if unit is None else unit.strip())


def _problem(head: Head, fields: Mapping[str, RecordField]) -> str | None:
    if not head.name:
        return "a column has no name"
    if head.name in NOT_RECORDED and fields is RECORD_FIELDS:
        return None
    if head.name not in fields:
        hint = nearest(head.name, fields)
        return f"there is no column '{shown(head.name)}'" + (f"; {hint}" if hint else "")
    return None if head.unit is None else _wrong_unit(head.name, head.unit, fields[head.name])


def _wrong_unit(name: str, unit: str, field: RecordField) -> str | None:
    if not isinstance(field, Quantity):
        return f"the column '{name}' takes no unit, so not [{shown(unit)}]"
    try:
        conversion(unit, field.unit)
    except UnitError as error:
        return f"the column '{name}' has a wrong unit: {shown(error, 200)}"
    return None
