"""The register of what the operator owns, read from files with everything wrong told at once."""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from marshmallow import Schema, ValidationError

from qa_engine.errors import IntakeError, nearest
from qa_engine.fields import Refusal
from qa_engine.intake.register_sheets import PARTS, Complaint, Entry, Sheets, read_sheets
from qa_engine.register import TABLES, Operator, Register

OPERATOR = PARTS[0]
_SCHEMAS: dict[str, Schema] = {
    OPERATOR: Operator(),
    **{name: table.schema() for name, table in TABLES.items()},
}
_NAMED_IN = {("tanks", "van"): "vans", ("tanks", "after_tank"): "tanks"}
"""Fields whose value must be the id of a row, and in which table."""


class Line(NamedTuple):
    """An entry of the register and the values that its schema made of it."""

    entry: Entry
    values: Mapping[str, Any]

    def says(self, name: str, message: str, help_: str = "") -> Complaint:
        """Return a complaint about one of its fields."""
        return self.entry.complain(name if name in self.values else None, message, help_)


def read_register(path: Path) -> Register:
    """Read a register: a YAML file, or a folder with operator.yaml and one CSV file per table.

    Raises:
        IntakeError: it cannot be used as written; the text lists everything that is wrong, with
            file and line.
    """
    sheets = read_sheets(path)
    lines = [line for entry in sheets.entries if (line := _load(entry, sheets.complaints))]
    sheets.complaints += _contradictions(lines, sheets)
    if not any(entry.part == OPERATOR for entry in sheets.entries) and not sheets.complaints:
        text = f"{path}: the operator is missing; expected operator with name and time_zone"
        sheets.complaints.append(Complaint(str(path), 0, 0, text))
    if sheets.complaints:
        raise IntakeError("\n".join(one.text for one in sorted(sheets.complaints)))
    return _register(lines)


def _load(entry: Entry, complaints: list[Complaint]) -> Line | None:
    schema = _SCHEMAS[entry.part]
    known = {name: cell for name, cell in entry.written.items() if name in schema.fields}
    for name in entry.written.keys() - known.keys():
        hint = nearest(name, schema.fields) or "known are " + ", ".join(schema.fields)
        complaints.append(entry.complain(name, f"there is no field '{name}' here", hint))
    try:
        return Line(entry, schema.load(known))
    except ValidationError as error:
        complaints += _refusals(entry, error)
        return None


def _refusals(entry: Entry, error: ValidationError) -> Iterator[Complaint]:
    for name, messages in error.messages_dict.items():
        for message in messages:
            fault = message.fault if isinstance(message, Refusal) else str(message)
            wanted = f"expected {message.expected}" if isinstance(message, Refusal) else ""
            there = name if name in entry.written else None
            yield entry.complain(there, f"'{name}': {fault}", wanted)


def _contradictions(lines: Iterable[Line], sheets: Sheets) -> Iterator[Complaint]:
    begun: dict[tuple[Any, ...], Line] = {}
    ids = _ids(sheets)
    for line in lines:
        part = line.entry.part
        if part == OPERATOR:
            continue
        key = TABLES[part].key
        row = (part, line.values[key], line.values.get("from"))
        if (first := begun.setdefault(row, line)) is not line:
            yield line.says(key, *_twice(line.values, key, first))
        yield from _unknown_names(line, ids)
        low, high = (line.values.get(name, 0.0) for name in ("freeboard_min", "freeboard_max"))
        if "freeboard_max" in line.values and low > high:
            yield line.says("freeboard_min", "the least freeboard lies above the greatest")


def _twice(values: Mapping[str, Any], key: str, first: Line) -> tuple[str, str]:
    since = f"from {values['from']}" if "from" in values else "from the beginning"
    message = f"{key} '{values[key]}' has another row {since}, in {first.entry.place}"
    return message, "a later row of the same id needs a later 'from'"


def _ids(sheets: Sheets) -> dict[str, set[str]]:
    """Return the ids that each table gives rows to, also by rows that are wrong otherwise."""
    ids: dict[str, set[str]] = {name: set() for name in TABLES}
    for entry in sheets.entries:
        if entry.part in TABLES:
            ids[entry.part].add(str(entry.written.get(TABLES[entry.part].key)))
    return ids


def _unknown_names(line: Line, ids: Mapping[str, set[str]]) -> Iterator[Complaint]:
    for (part, name), table in _NAMED_IN.items():
        value = line.values.get(name) if part == line.entry.part else None
        if value is not None and value not in ids[table]:
            hint = nearest(value, sorted(ids[table])) or f"add it to {table}, or correct it"
            yield line.says(name, f"'{name}': no row of {table} has the id '{value}'", hint)


def _register(lines: Iterable[Line]) -> Register:
    rows: dict[str, list[Mapping[str, Any]]] = {part: [] for part in PARTS}
    for line in lines:
        rows[line.entry.part].append(line.values)
    operator = rows[OPERATOR][0]
    zone = ZoneInfo(operator["time_zone"])
    tables = {name: table.frame(rows[name], zone) for name, table in TABLES.items()}
    return Register(operator["name"], zone, tables)
