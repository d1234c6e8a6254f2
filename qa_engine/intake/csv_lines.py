"""Rows of CSV files (RFC 4180), each with the line it begins on.

The fast route reads whole pieces of a file as columns and is taken only while it is certain that
every line is one row and every quotation mark stands where it may. At the first doubt the rest of
the file goes through Python's csv module, which keeps count of lines inside quoted cells.
"""

import codecs
import csv
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from typing import Any, BinaryIO, NamedTuple

import polars as pl

from qa_engine.errors import IntakeError
from qa_engine.fields import shown
from qa_engine.intake.batch import LINE, ROWS_PER_BATCH, Batch, text_batch
from qa_engine.intake.heads import ALWAYS, read_record_heads, units_of
from qa_engine.intake.refused import LONGEST_WRITTEN, Refused
from qa_engine.intake.text_encoding import as_utf8
from qa_engine.intake.written_file import not_utf8

BYTES_PER_PIECE = 32_000_000
COMMA = ","
SEPARATORS = {COMMA: "commas", ";": "semicolons", "\t": "tabs", "|": "upright strokes"}
"""What may stand between the cells of a row, and what a message calls it."""


class Row(NamedTuple):
    """A row and where it begins; ``wrong`` says why it could not be split into cells."""

    line: int
    cells: list[str]
    wrong: str = ""


def csv_batches(name: str, stream: BinaryIO) -> Iterator[Batch]:
    """Yield the rows of a CSV file of records.

    Cells are separated by commas, or by another of ``SEPARATORS`` if the heads say so.

    Raises:
        IntakeError: the file is not UTF-8 or UTF-16, a column is unknown, or a quotation mark is
            never closed.
    """
    with as_utf8(name, stream) as text:
        separator = _separator(text)
        written = _plain_head(name, text, separator)
        if written is None:
            yield from _slow_file(name, text, separator)
            return
        heads = read_record_heads(name, written)
        names = [head.name for head in heads]
        for batch in table_batches(name, text, names, 2, separator):
            yield replace(batch, units=units_of(heads))


def _separator(stream: BinaryIO) -> str:
    """Return what separates the heads: a comma unless another gives every head that must be."""
    first = stream.readline().removeprefix(codecs.BOM_UTF8).decode(errors="replace")
    stream.seek(0)
    for separator in SEPARATORS:
        names = {cell.split("[")[0].strip(' "\r\n') for cell in first.split(separator)}
        if names.issuperset(ALWAYS):
            return separator
    return COMMA


def _plain_head(name: str, stream: BinaryIO, separator: str) -> list[str] | None:
    """Return the first line's cells, or nothing if that line may not be the whole head."""
    first = stream.readline().removeprefix(codecs.BOM_UTF8)
    if not first.strip() or b"\r" in first.rstrip(b"\r\n"):
        return None
    try:
        plain = _well_quoted(first, separator)
        return next(csv.reader([first.decode()], delimiter=separator)) if plain else None
    except (UnicodeDecodeError, pl.exceptions.PolarsError):
        raise not_utf8(name, stream) from None


def table_batches(
    name: str, stream: BinaryIO, names: list[str], line: int, separator: str = COMMA
) -> Iterator[Batch]:
    """Yield rows of CSV text in UTF-8 from where the stream stands.

    Args:
        name: the file, for messages.
        stream: the bytes to read.
        names: of the columns; a row with more cells is refused.
        line: the number of the line on which the stream stands.
        separator: what stands between cells.

    Raises:
        IntakeError: the text is not UTF-8, or a quotation mark is never closed.
    """
    start = stream.tell()
    for piece in _pieces(stream):
        cells = _columns(piece, names, separator)
        if cells is None:
            stream.seek(start)
            yield from _slow_batches(name, rows_of(name, stream, line, separator), names, separator)
            return
        numbers = pl.int_range(line, line + cells.height, dtype=pl.UInt32, eager=True)
        yield Batch(cells.with_columns(numbers.alias(LINE)), {})
        line, start = line + cells.height, start + len(piece)


def _pieces(stream: BinaryIO) -> Iterator[bytes]:
    """Yield a file in pieces of whole lines."""
    kept = b""
    while read := stream.read(BYTES_PER_PIECE):
        whole = read.rfind(b"\n") + 1
        if whole:
            yield kept + read[:whole]
            kept = b""
        kept += read[whole:]
    if kept:
        yield kept


def _columns(piece: bytes, names: list[str], separator: str) -> pl.DataFrame | None:
    """Return a piece as columns of text, or nothing if a line of it may not be one plain row."""
    if b"\n\n" in piece or b"\n\r\n" in piece or piece.startswith((b"\n", b"\r\n")):
        return None
    if b"\r" in piece and piece.count(b"\r") != piece.count(b"\r\n"):
        return None
    try:
        if b'"' in piece and not _well_quoted(piece, separator):
            return None
        cells = pl.read_csv(
            piece,
            has_header=False,
            separator=separator,
            schema=dict.fromkeys(names, pl.String()),
            missing_columns="insert",
        )
    except pl.exceptions.PolarsError:
        return None
    lines = piece.count(b"\n") + (not piece.endswith(b"\n"))
    return cells if cells.height == lines else None


def _well_quoted(piece: bytes, separator: str) -> bool:
    between = re.escape(separator)
    cell = rf'(?:[^"{between}]*|"(?:[^"]|"")*")'
    lines = pl.Series([piece]).cast(pl.String()).str.strip_suffix("\n").str.split("\n").explode()
    quoted = lines.filter(lines.str.contains('"', literal=True))
    return bool(quoted.str.contains(rf"^{cell}(?:{between}{cell})*\r?$").all())


def _slow_file(name: str, stream: BinaryIO, separator: str) -> Iterator[Batch]:
    stream.seek(0)
    rows = rows_of(name, stream, 1, separator)
    first = next(rows, Row(1, []))
    if first.wrong:
        raise IntakeError(f"{name}:{first.line}: the column heads: {first.wrong}")
    heads = read_record_heads(name, first.cells)
    for batch in _slow_batches(name, rows, [head.name for head in heads], separator):
        yield replace(batch, units=units_of(heads))


def rows_of(name: str, stream: BinaryIO, line: int, separator: str = COMMA) -> Iterator[Row]:
    """Yield the rows of CSV text from where the stream stands; blank lines are no rows.

    Args:
        name: the file, for messages.
        stream: the bytes to read.
        line: the number of the line on which the stream stands.
        separator: what stands between cells.

    Raises:
        IntakeError: the text is not UTF-8, or a quotation mark is never closed.
    """
    reader = csv.reader(_lines(stream), strict=True, delimiter=separator)
    try:
        yield from _counted(name, reader, line)
    except UnicodeDecodeError:
        raise not_utf8(name, stream) from None


def _lines(stream: BinaryIO) -> Iterator[str]:
    """Yield lines with their ends; a line ends with LF, CR or both."""
    encoding = "utf-8-sig" if stream.tell() == 0 else "utf-8"
    for line in stream:
        yield from io.StringIO(line.decode(encoding), newline="")
        encoding = "utf-8"


def _counted(name: str, reader: Any, line: int) -> Iterator[Row]:
    while True:
        begins = line + reader.line_num
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            yield _malformed(name, begins, line + reader.line_num - 1, str(error))
            continue
        if cells:
            yield Row(begins, cells)


def _malformed(name: str, begins: int, ends: int, error: str) -> Row:
    if "field larger" in error:
        raise IntakeError(
            f"{name}:{begins}: a cell of this row is longer than {csv.field_size_limit()} "
            "characters; is a quotation mark left open?"
        )
    if "unexpected end" in error:
        raise IntakeError(f"{name}:{begins}: a quotation mark opened here is never closed")
    span = f" in lines {begins} to {ends}" if ends > begins else ""
    return Row(begins, [], f"something stands behind a closing quotation mark{span}")


def _slow_batches(
    name: str, rows: Iterator[Row], names: list[str], separator: str
) -> Iterator[Batch]:
    while some := list(islice(rows, ROWS_PER_BATCH)):
        good = [row for row in some if not row.wrong and len(row.cells) <= len(names)]
        padded = [row.cells + [None] * (len(names) - len(row.cells)) for row in good]
        whole = text_batch(padded, [row.line for row in good], names, {})
        bad = (row for row in some if row.wrong or len(row.cells) > len(names))
        refused = tuple(_refused(name, row, names, separator) for row in bad)
        yield replace(whole, refused=refused)


def _refused(name: str, row: Row, names: list[str], separator: str) -> Refused:
    if row.wrong:
        expected = f"cells separated by {SEPARATORS[separator]} ({row.wrong})"
        return Refused(name, row.line, None, None, None, expected)
    record = shown(row.cells[names.index("record")]) if "record" in names else None
    written = shown(separator.join(row.cells[len(names) :]), LONGEST_WRITTEN)
    expected = f"{len(names)} cells, one per column (the row has {len(row.cells)})"
    return Refused(name, row.line, record or None, None, written, expected)
