"""Makes the tables of a map of what its form let pass."""

from collections.abc import Mapping
from typing import Any

from qa_engine.errors import UnitError
from qa_engine.fields import Quantity
from qa_engine.intake.column_map.column_map import POINT, Column, MappedTable
from qa_engine.records import RECORD_FIELDS
from qa_engine.units import conversion


def table_of(written: Mapping[str, Any], head: Mapping[str, Any], line: int) -> MappedTable:
    """Return a table of a map.

    Args:
        written: the table.
        head: the whole map, for what it says of all tables.
        line: where the table stands.
    """
    shared = {**head, **written}
    columns = tuple(_column(one, shared) for one in written["columns"])
    kind = {"kind": written["kind"]} if "kind" in written else {}
    zones = [one["time_zone"] for one in written["columns"] if "time_zone" in one]
    chosen = {
        name: column.field
        for one, column in zip(written["columns"], columns, strict=True)
        for name in one["field"]
    }
    return MappedTable(
        sheets=written.get("sheet", ()),
        head_lines=written.get("head", (1,)),
        always={**kind, **written.get("always", {})},
        columns=columns,
        columns_left_out=written.get("columns_left_out", ()),
        rows_left_out=written.get("rows_left_out", ()),
        nothing=written.get("nothing", ()),
        where=tuple(chosen.get(name, name) for name in written.get("where", ())),
        record_from=tuple(chosen.get(name, name) for name in written.get("record_from", ())),
        clock=written.get("clock", ""),
        time_zone=zones[0] if zones else shared.get("time_zone", ""),
        line=line,
    )


def _column(written: Mapping[str, Any], shared: Mapping[str, Any]) -> Column:
    unit = written.get("unit", "")
    words = written.get("words", {})
    return Column(
        head=written.get("head", ""),
        letter=written.get("column", ""),
        field=_field(written["field"], unit),
        part=written.get("part", ""),
        unit=unit,
        decimal=written.get("decimal", shared.get("decimal", POINT)),
        date_order=written.get("date_order", shared.get("date_order", "")),
        words={theirs.lower(): ours for theirs, ours in words.items()},
        carries_on=written.get("carries_on", False),
    )


def _field(names: tuple[str, ...], unit: str) -> str:
    """Return the field that a column fills: of several, the first that its unit fits."""
    fitting = (name for name in names if fits(name, unit))
    return next(fitting, names[0])


def fits(name: str, unit: str) -> bool:
    """Tell whether a field takes numbers in a unit; no unit fits every field."""
    field = RECORD_FIELDS[name]
    if not unit:
        return True
    if not isinstance(field, Quantity):
        return False
    try:
        conversion(unit, field.unit)
    except UnitError:
        return False
    return True
