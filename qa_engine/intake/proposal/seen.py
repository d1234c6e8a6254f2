"""What is seen of a table before anything is said about it: its heads and its columns' cells."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import polars as pl

from qa_engine.intake.batch import LINE, NOT_READ
from qa_engine.intake.column_map.column_map import DAY_FIRST, MONTH_FIRST
from qa_engine.intake.column_map.distinct import read_distinct
from qa_engine.intake.column_map.record_rows import says_heads
from qa_engine.intake.column_map.written_times import ISO, date_parts, days_read
from qa_engine.intake.grids import FILLED, Grid, TopRow, joined_heads
from qa_engine.intake.proposal.vocabulary import TOTALS, meaning_of
from qa_engine.intake.refused import sheet_name
from qa_engine.intake.workbook import TYPED

MOST_ROWS = 100_000
"""How many rows of a table are looked at."""

_DEEPEST_HEAD = 3


@dataclass(frozen=True)
class SeenColumn:
    """A column of a table.

    Attributes:
        key: its letters, or its name.
        head: its head.
        cells: what is written in it, one text per row that holds anything.
        lines: the line of each row.
    """

    key: str
    head: str
    cells: pl.Series
    lines: pl.Series

    @cached_property
    def written(self) -> list[str]:
        """Its filled cells, without the mark of typed numbers, each once, the commonest first."""
        plain = self.cells.drop_nulls().str.strip_prefix(TYPED).str.strip_chars()
        counted = plain.value_counts(sort=True, name="n")
        return counted.sort("n", counted.columns[0], descending=[True, False])[
            counted.columns[0]
        ].to_list()

    @cached_property
    def texts(self) -> list[str]:
        """Its filled cells that are no typed numbers."""
        filled = self.cells.drop_nulls()
        return (
            filled.filter(~filled.str.starts_with(TYPED))
            .str.strip_chars()
            .unique(maintain_order=True)
            .to_list()
        )

    def place(self, text: str) -> str:
        """Return the cell in which a text stands first, as a remark says it."""
        same = (self.cells.str.strip_prefix(TYPED).str.strip_chars() == text).fill_null(False)
        at = same.arg_max()
        line = self.lines[at or 0]
        return f"{self.key}{line}" if re.fullmatch("[A-Z]{1,3}", self.key) else f"line {line}"

    @property
    def sample(self) -> str:
        """Some of its cells, for a remark."""
        return "; ".join(re.sub(r"\s+", " ", one)[:24] for one in self.written[:3])


@dataclass(frozen=True)
class SeenTable:
    """A table as it was found.

    Attributes:
        grid: where it stands.
        head_lines: the lines of its heads; none for files whose columns have names.
        titles: what is written above the heads.
        columns: its columns that have a head or hold anything.
        total_words: the words that begin rows of totals; those rows are in no column.
    """

    grid: Grid
    head_lines: tuple[int, ...]
    titles: tuple[str, ...]
    columns: tuple[SeenColumn, ...]
    total_words: tuple[str, ...] = ()

    @property
    def place(self) -> str:
        sheet = self.grid.sheet
        return self.grid.name if sheet is None else sheet_name(self.grid.name, sheet)

    @property
    def called(self) -> str:
        """What a remark calls it."""
        return f"sheet '{self.grid.sheet}'" if self.grid.sheet else "the file"


def see(grid: Grid) -> SeenTable | None:
    """Return a table as it is seen, or nothing if no row of it looks like heads."""
    lines = head_lines(grid.top()) if grid.has_head_rows else ()
    if grid.has_head_rows and not lines:
        return None
    titles = [cell for row in grid.top() if lines and row.line < lines[0] for cell in row.cells]
    heads = grid.heads(lines)
    written = _cells(grid, max(lines, default=0))
    cells = written.filter(~says_heads(written, [grid.heads([line]) for line in lines]))
    cells, total_words = _without_totals(cells)
    columns = tuple(
        SeenColumn(key, head, cells[key], cells[LINE])
        for key, head in heads.items()
        if key in cells.columns and (head or cells[key].null_count() < cells.height)
    )
    return SeenTable(grid, lines, tuple(one for one in titles if one), columns, total_words)


def _without_totals(cells: pl.DataFrame) -> tuple[pl.DataFrame, tuple[str, ...]]:
    """Return the rows that are no totals or remarks, and the words that begin totals."""
    keys = [name for name in cells.columns if name not in (LINE, FILLED)]
    if not keys or not cells.height:
        return cells, ()
    first = cells.select(pl.coalesce(pl.col(keys)).alias("first"))["first"]
    word = first.str.strip_prefix(TYPED).str.extract(r"^\W*(\w+)")
    totals = word.str.to_lowercase().is_in(TOTALS).fill_null(False)
    alone = (cells[FILLED] == 1) & ~is_date(first)
    found = word.filter(totals & ~alone).unique(maintain_order=True)
    return cells.filter(~totals & ~alone), tuple(found)


def _cells(grid: Grid, after: int) -> pl.DataFrame:
    pieces, rows = [], 0
    for piece in grid.pieces(after):
        pieces.append(piece.cells)
        rows += piece.cells.height
        if rows >= MOST_ROWS:
            break
    if not pieces:
        return pl.DataFrame({LINE: [], FILLED: []})
    cells = pl.concat(pieces, how="diagonal")
    return cells.filter(pl.col(FILLED) > 0)


def head_lines(rows: Sequence[TopRow]) -> tuple[int, ...]:
    """Return the lines of the heads: the rows, up to three, in which most heads are known."""
    best: tuple[tuple[int, int], tuple[int, ...]] = ((0, 0), ())
    for at, depth in _spans(rows):
        span = rows[at : at + depth]
        joined = joined_heads([[_plain(one) for one in row.cells] for row in span])
        known = [meaning_of(head) for head in joined if head]
        score = len({one for one in known if one is not None})
        if score >= 2 and (score, -depth) > best[0]:
            best = ((score, -depth), tuple(row.line for row in span))
    return best[1]


def _spans(rows: Sequence[TopRow]) -> Iterator[tuple[int, int]]:
    """Yield where heads may begin, and how many rows they may fill: rows of words only."""
    for at in range(len(rows)):
        for depth in range(1, _DEEPEST_HEAD + 1):
            span = rows[at : at + depth]
            if len(span) == depth and all(_of_words(row) for row in span):
                yield at, depth


def _of_words(row: TopRow) -> bool:
    filled = [cell for cell in row.cells if cell]
    return bool(filled) and all(_is_word(cell) for cell in filled)


def _is_word(cell: str) -> bool:
    return not cell.startswith(TYPED) and not re.match(r"^[0-9][0-9 .,:/-]*", cell)


def _plain(cell: str | None) -> str:
    return (cell or "").removeprefix(TYPED)


def is_date(cells: pl.Series) -> pl.Series:
    """Tell of each cell whether it is a date in any order."""
    plain = cells.str.contains(ISO).fill_null(False)
    rest = cells.zip_with(~plain, cells.clear(len(cells))).str.strip_chars()
    for order in (DAY_FIRST, MONTH_FIRST):
        read = read_distinct(rest, partial(days_read, order=order))
        plain |= (~read.str.starts_with(NOT_READ)).fill_null(False)
    return plain


def number_dates(cells: pl.Series) -> pl.DataFrame:
    """Return a, b and c of the different cells that are dates in numbers with the year last."""
    text = cells.drop_nulls().str.strip_chars().unique(maintain_order=True).to_frame("text")
    parts = text.select("text", date_parts(pl.col("text")).alias("parts")).unnest("parts")
    whole = pl.col("a").str.contains("^[0-9]{1,2}$") & pl.col("b").str.contains("^[0-9]{1,2}$")
    return parts.filter(whole)
