"""What a register file says, row by row, with the place of every row for complaints."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from qa_engine.errors import IntakeError, nearest
from qa_engine.intake.csv_lines import Row, rows_of
from qa_engine.intake.exact import in_unit, is_empty
from qa_engine.intake.heads import Head, read_heads
from qa_engine.intake.written_file import WrittenFile
from qa_engine.register import TABLES, Table
from qa_engine.yaml_tree import LARGEST_FILE, Document, Problem, read_yaml

PARTS = ("operator", *TABLES)
OPERATOR_FILE = "operator.yaml"
Steps = tuple[str | int, ...]


class Complaint(NamedTuple):
    """Something wrong in a register, and where; they sort by place."""

    source: str
    line: int
    column: int
    text: str


class Entry(NamedTuple):
    """One row as written.

    Attributes:
        part: the table it belongs to, or ``operator``.
        written: the cells by field.
        place: the file and line where it begins.
        complain: makes a complaint about a field of it, or about all of it (no field), from what
            is wrong and what would do.
    """

    part: str
    written: Mapping[str, Any]
    place: str
    complain: Callable[[str | None, str, str], Complaint]


@dataclass
class Sheets:
    """All entries of a register, and what was wrong already."""

    entries: list[Entry] = field(default_factory=list)
    complaints: list[Complaint] = field(default_factory=list)


def read_sheets(path: Path) -> Sheets:
    """Return the entries of a register: a YAML file, or a folder with a CSV file per table.

    Raises:
        IntakeError: there is no such file or folder, or it cannot be opened.
    """
    sheets = Sheets()
    if path.is_dir():
        _read_folder(path, sheets)
    elif path.suffix.lower() in (".yaml", ".yml"):
        _read_yaml(path, PARTS, sheets)
    else:
        what = "expected a YAML file, or a folder with operator.yaml and one CSV file per table"
        there = "this is no register" if path.exists() else "there is no such file"
        raise IntakeError(f"{path}: {there}; {what}")
    return sheets


def _read_folder(folder: Path, sheets: Sheets) -> None:
    tables = {f"{name}.csv": table for name, table in TABLES.items()}
    for path in sorted(folder.iterdir()):
        if path.name in tables:
            _read_table(path, tables[path.name], sheets)
        elif path.name != OPERATOR_FILE and not path.name.startswith("."):
            known = (OPERATOR_FILE, *tables)
            hint = nearest(path.name, known) or "known are " + ", ".join(known)
            text = f"{path}: this is no file of a register; {hint}"
            sheets.complaints.append(Complaint(str(path), 0, 0, text))
    _read_yaml(folder / OPERATOR_FILE, PARTS[:1], sheets)


def _read_yaml(path: Path, parts: tuple[str, ...], sheets: Sheets) -> None:
    with WrittenFile(str(path)).open() as stream:
        document = read_yaml(str(path), stream.read(LARGEST_FILE + 1))
    sheets.complaints += (_complaint(problem) for problem in document.problems)
    if document.is_refused(()):
        return
    content = document.data if isinstance(document.data, dict) else {}
    if not content:
        help_ = "expected the keys " + ", ".join(parts)
        sheets.complaints.append(_complaint(document.problem((), "nothing is told here", help_)))
    for part in content:
        if part in parts:
            _read_part(document, part, sheets)
        else:
            hint = nearest(part, parts) or "known are " + ", ".join(parts)
            problem = document.problem((part,), f"there is no key '{part}' here", hint, key=True)
            sheets.complaints.append(_complaint(problem))


def _read_part(document: Document, part: str, sheets: Sheets) -> None:
    content = document.data[part]
    rows: dict[Steps, Any] = {(part,): content}
    if part != PARTS[0] and isinstance(content, list | None):
        rows = {(part, number): row for number, row in enumerate(content or [])}
    for steps, row in rows.items():
        if document.is_refused(steps):
            continue
        if isinstance(row, dict) and (part == PARTS[0] or len(steps) > 1):
            sheets.entries.append(_yaml_entry(document, steps, row))
        else:
            help_ = "expected fields with values" + ("" if part == PARTS[0] else ", in a list")
            problem = document.problem(steps, f"'{part}' cannot be read", help_)
            sheets.complaints.append(_complaint(problem))


def _yaml_entry(document: Document, steps: Steps, row: dict[str, Any]) -> Entry:
    def complain(name: str | None, message: str, help_: str) -> Complaint:
        path = steps if name is None else (*steps, name)
        unknown = name is not None and message.startswith("there is no field")
        return _complaint(document.problem(path, message, help_, key=unknown))

    refused = {name for name in row if document.is_refused((*steps, name))}
    written = {name: value for name, value in row.items() if name not in refused}
    place = _complaint(document.problem(steps, ""))
    return Entry(str(steps[0]), written, f"{place.source}:{place.line}", complain)


def _complaint(problem: Problem) -> Complaint:
    return Complaint(problem.source, problem.line, problem.column, str(problem))


def _read_table(path: Path, table: Table, sheets: Sheets) -> None:
    source = str(path)
    try:
        with WrittenFile(source).open() as stream:
            rows = rows_of(source, stream, 1)
            heads = read_heads(source, next(rows, Row(1, [])).cells, table.fields)
            for row in rows:
                _read_row(source, row, heads, table, sheets)
    except IntakeError as error:
        sheets.complaints.append(Complaint(source, 0, 0, str(error)))


def _read_row(source: str, row: Row, heads: Sequence[Head], table: Table, sheets: Sheets) -> None:
    place = f"{source}:{row.line}"

    def complain(name: str | None, message: str, help_: str) -> Complaint:
        text = f"{place}: {message}" + (f"; {help_}" if help_ else "")
        return Complaint(source, row.line, 0, text)

    wrong = row.wrong
    if len(row.cells) > len(heads):
        wrong = f"the row has {len(row.cells)} cells, the heads are {len(heads)}"
    if wrong:
        sheets.complaints.append(complain(None, wrong, ""))
        return
    cells = {
        head.name: in_unit(cell, head.unit)
        for head, cell in zip(heads, row.cells, strict=False)
        if not is_empty(cell)
    }
    sheets.entries.append(Entry(table.name, cells, place, complain))
