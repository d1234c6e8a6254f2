"""Finds the columns of a map in a table."""

from collections.abc import Mapping
from dataclasses import dataclass

from qa_engine.errors import IntakeError, nearest
from qa_engine.intake.column_map.column_map import Column, MappedTable
from qa_engine.intake.grids import Grid, joined_heads
from qa_engine.intake.refused import sheet_name


@dataclass(frozen=True)
class Matched:
    """Where the columns of a map stand in a table.

    Attributes:
        keys: the key of each column, in the order of the map.
        heads: the head of every column of the table, by its key.
        last_line: the last line on which heads stand; 0 if there are none.
    """

    keys: tuple[str, ...]
    heads: Mapping[str, str]
    last_line: int


def match(tables: tuple[MappedTable, ...], grid: Grid) -> tuple[Matched, ...]:
    """Return where the columns of each table of a map stand.

    A column of the table that no table of the map names is an error, for it may be the one that
    matters.

    Args:
        tables: the tables of the map that stand for this one.
        grid: the table.

    Raises:
        IntakeError: a column of the map is not there, or one of the table is in no map.
    """
    place = grid.name if grid.sheet is None else sheet_name(grid.name, grid.sheet)
    problems: list[str] = []
    matched = tuple(_match(table, grid, problems) for table in tables)
    known = {key for one in matched for key in one.keys}
    for table, one in zip(tables, matched, strict=True):
        known |= {key for key, head in one.heads.items() if _left_out(table, key, head)}
    first = matched[0]
    for key, head in first.heads.items():
        if head and key not in known:
            problems.append(
                f"the column {_called(key, head)} is not in the map; give it a field, or write "
                "its head under 'columns_left_out'"
            )
    if problems:
        raise IntakeError("\n".join(f"{place}: {one}" for one in dict.fromkeys(problems)))
    return matched


def _match(table: MappedTable, grid: Grid, problems: list[str]) -> Matched:
    lines = table.head_lines if grid.has_head_rows else ()
    heads = grid.heads(lines)
    keys = tuple(_key(column, heads, table, grid, problems) for column in table.columns)
    return Matched(keys, heads, max(lines, default=0))


def _key(
    column: Column, heads: Mapping[str, str], table: MappedTable, grid: Grid, problems: list[str]
) -> str:
    if column.letter and column.letter in heads:
        if column.head and folded(heads[column.letter]) != folded(column.head):
            problems.append(
                f"column {column.letter} has the head '{heads[column.letter]}', "
                f"in the map it is {column.called}"
            )
        return column.letter
    found = [key for key, head in heads.items() if folded(head) == folded(column.head)]
    if len(found) == 1 and column.head:
        return found[0]
    problems.append(_not_found(column, heads, found, table, grid))
    return ""


def _not_found(
    column: Column, heads: Mapping[str, str], found: list[str], table: MappedTable, grid: Grid
) -> str:
    if found:
        return f"the head {column.called} stands over {', '.join(found)}; add 'column:' to tell"
    lines = " and ".join(map(str, table.head_lines))
    where = f" in row {lines}" if lines and grid.has_head_rows else ""
    row = _elsewhere(table, grid)
    if row:
        return f"there is no column {column.called}{where}; the heads seem to be in row {row}"
    hint = nearest(column.head, [head for head in heads.values() if head])
    return f"there is no column {column.called}{where}" + (f"; {hint}" if hint else "")


def _elsewhere(table: MappedTable, grid: Grid) -> int:
    """Return the line on which the heads of a map stand instead, 0 if there is none."""
    wanted = {folded(column.head) for column in table.columns if column.head}
    depth = max(1, len(table.head_lines))
    rows = grid.top()
    for at in range(len(rows) - depth + 1):
        joined = joined_heads([row.cells for row in rows[at : at + depth]])
        if wanted <= {folded(head) for head in joined}:
            return rows[at].line
    return 0


def folded(head: str) -> str:
    """Return a head as it is compared: blanks as single spaces, no matter the case."""
    return " ".join(head.split()).casefold()


def _left_out(table: MappedTable, key: str, head: str) -> bool:
    return key in table.columns_left_out or folded(head) in map(folded, table.columns_left_out)


def _called(key: str, head: str) -> str:
    return f"'{head}'" if key == head else f"{key}, '{head}',"
