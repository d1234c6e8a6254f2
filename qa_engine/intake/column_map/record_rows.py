"""Which rows of a table are records: not blanks, heads said again, totals or remarks below."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import polars as pl

from qa_engine.intake.batch import LINE, NOT_READ
from qa_engine.intake.column_map.column_map import MappedTable
from qa_engine.intake.column_map.written_times import days_read
from qa_engine.intake.grids import FILLED
from qa_engine.intake.workbook import TYPED

HEAD_AGAIN, TOTALS, REMARK = "the heads again", "totals", "remarks"
_SHOWN = 6


@dataclass
class LeftOut:
    """Which rows were no records, by reason; blank ones are not worth a word."""

    lines: dict[str, list[int]] = field(default_factory=dict)

    def sentences(self, source: str) -> Iterator[str]:
        """Yield what the caller should be told."""
        for reason, lines in self.lines.items():
            rows = ", ".join(map(str, lines[:_SHOWN]))
            more = f" and {len(lines) - _SHOWN} more" if len(lines) > _SHOWN else ""
            count = "1 row is no record" if len(lines) == 1 else f"{len(lines)} rows are no records"
            yield f"{source}: {count}: {reason} (row {rows}{more})"


def record_rows(
    cells: pl.DataFrame,
    table: MappedTable,
    moments: Sequence[str],
    heads: Sequence[Mapping[str, str]],
    left_out: LeftOut,
) -> pl.DataFrame:
    """Return the rows that are records, and note the others.

    Args:
        cells: rows as written, with ``LINE`` and ``FILLED``.
        table: what the map says of them.
        moments: the keys of the columns that say when it happened.
        heads: the cells of each row of heads, by key.
        left_out: where the rows that are no records are noted.
    """
    if cells[FILLED].min() == 0:
        cells = cells.filter(pl.col(FILLED) > 0)
    doubtful = _begins_with(cells, table.rows_left_out) | (pl.col(FILLED) == 1)
    odd = cells.filter(says_heads(cells, heads) | doubtful)
    if not odd.height:
        return cells
    reasons = (
        pl.when(says_heads(odd, heads))
        .then(pl.lit(HEAD_AGAIN))
        .when(_dated(table, [key for key in moments if key in odd.columns]))
        .then(None)
        .when(_begins_with(odd, table.rows_left_out))
        .then(pl.lit(TOTALS))
        .otherwise(pl.lit(REMARK))
    )
    why = odd.select(LINE, reasons.alias("why")).drop_nulls("why")
    for line, reason in why.iter_rows():
        left_out.lines.setdefault(reason, []).append(line)
    return cells.filter(~pl.col(LINE).is_in(why[LINE].implode()))


def _dated(table: MappedTable, moments: Sequence[str]) -> pl.Expr:
    """Tell of each row whether the columns of the instant hold a date."""
    orders = {column.date_order for column in table.columns if column.field == "at"}
    order = max(orders, default="")
    looks = [
        ~days_read(pl.col(key).str.strip_chars(), order).str.starts_with(NOT_READ)
        for key in moments
    ]
    return pl.any_horizontal(*looks, pl.lit(False)).fill_null(False)


def says_heads(cells: pl.DataFrame, heads: Sequence[Mapping[str, str]]) -> pl.Expr:
    """Tell of each row whether it says one of the rows of heads again, and nothing else."""
    again = pl.lit(False)
    for row in heads:
        written = {key: head for key, head in row.items() if head and key in cells.columns}
        if len(written) < 2:
            continue
        first, head = next(iter(written.items()))
        likely = (pl.col(first).str.to_lowercase() == head.lower()).fill_null(False)
        if not cells.select(likely.any()).item():
            continue
        same = [
            pl.col(key).str.strip_chars().str.to_lowercase() == head.strip().lower()
            for key, head in written.items()
        ]
        agree = pl.sum_horizontal(one.fill_null(False) for one in same)
        again = again | ((agree == pl.col(FILLED)) & (agree >= 2))
    return again


def _begins_with(cells: pl.DataFrame, words: Sequence[str]) -> pl.Expr:
    if not words:
        return pl.lit(False)
    names = [name for name in cells.columns if name not in (LINE, FILLED)]
    first = pl.coalesce(pl.col(names)).str.strip_prefix(TYPED).str.strip_chars()
    pattern = "|".join(re.escape(word) for word in words)
    return first.str.contains(rf"(?i)^(?:{pattern})(?:[^\p{{L}}]|$)").fill_null(False)
