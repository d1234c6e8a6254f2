"""How much a workbook would unpack to, measured piece by piece before any of it is read.

A few kilobytes can unpack to gigabytes, name a cell in the last row and column of a sheet, or
point to one long text a million times. What states its size in the package is not believed.
"""

import re
import zipfile
import zlib
from collections.abc import Callable
from typing import BinaryIO
from xml.parsers import expat

from qa_engine.errors import IntakeError

LARGEST_UNPACKED = 1024**3
"""The most that a workbook may hold once unpacked [bytes]."""

MOST_CELLS = 12_000_000
"""The most cells of all sheets, empty ones counted: from A1 to the last row and column."""

MOST_TEXT = 256 * 1024**2
"""The most characters of all cells together."""

TOO_LARGE = "the workbook is too large; split it, or save it as CSV"
_NO_WORKBOOK = (
    "this is not a workbook in the XLSX form; open it in a spreadsheet program and save it as "
    ".xlsx, without a password"
)
_PIECE = 1 << 20
_CELL = re.compile(r"\$?([A-Za-z]{1,3})\$?([0-9]{1,7})")
_SHEET = re.compile(b"sheetData|s\0h\0e\0e\0t\0D\0a\0t\0a")


class _TooLargeError(Exception):
    """There is more in it than is read."""


def check_size(name: str, stream: BinaryIO) -> None:
    """See that a workbook can be read with the memory of a small machine.

    Args:
        name: the file, for messages.
        stream: the workbook; left at its start.

    Raises:
        IntakeError: it is no workbook, or there is too much in it.
    """
    try:
        with zipfile.ZipFile(stream) as packed:
            _measure(packed)
    except _TooLargeError:
        raise IntakeError(f"{name}: {TOO_LARGE}") from None
    except expat.ExpatError as error:
        raise IntakeError(f"{name}: the workbook cannot be read: {error}") from None
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, RuntimeError):
        # RuntimeError: a part is locked, or packed in a way that is not known.
        raise IntakeError(f"{name}: {_NO_WORKBOOK}") from None
    stream.seek(0)


def _measure(packed: zipfile.ZipFile) -> None:
    parts = packed.infolist()
    if sum(part.file_size for part in parts) > LARGEST_UNPACKED:
        raise _TooLargeError
    size = _Size()
    for part in sorted(parts, key=lambda one: "sharedstrings" not in one.filename.lower()):
        written_out = part.filename.lower().endswith((".xml", ".rels"))
        with packed.open(part) as unpacked:
            read: Callable[[bytes], None] = size.part() if written_out else _no_sheet()
            while piece := unpacked.read(_PIECE):
                size.unpacked(len(piece))
                read(piece)
            read(b"")


def _no_sheet() -> Callable[[bytes], None]:
    """Return what reads a part that has no business to be a sheet."""
    kept = b""

    def read(piece: bytes) -> None:
        nonlocal kept
        if _SHEET.search(kept + piece):
            raise ValueError("a sheet under a strange name")
        kept = piece[-32:]

    return read


class _Size:
    """What has been counted so far."""

    def __init__(self) -> None:
        self._bytes = self._cells = self._text = 0
        self._rows = self._columns = self._column = 0
        self._texts: list[int] = []
        self._pointer: list[str] | None = None
        self._points = False

    def unpacked(self, count: int) -> None:
        self._bytes += count
        if self._bytes > LARGEST_UNPACKED:
            raise _TooLargeError

    def part(self) -> Callable[[bytes], None]:
        """Return what reads one part, and once more with nothing at its end."""
        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler = self._begins
        parser.EndElementHandler = self._ends
        parser.CharacterDataHandler = self._says
        parser.StartDoctypeDeclHandler = _refuse_type
        self._cells += self._rows * self._columns
        self._rows = self._columns = 0

        def read(piece: bytes) -> None:
            parser.Parse(piece, not piece)

        return read

    def _begins(self, name: str, attributes: dict[str, str]) -> None:
        match name.rpartition(":")[2]:
            case "c":
                self._cell(attributes)
            case "v":
                self._pointer = [] if self._points else None
            case "row":
                self._row(attributes.get("r", ""))
            case "si":
                self._texts.append(0)
                self._pointer = []
            case "mergeCell":
                self._merged(attributes.get("ref", ""))

    def _ends(self, name: str) -> None:
        if self._pointer is None:
            return
        match name.rpartition(":")[2]:
            case "v":
                written, self._pointer = "".join(self._pointer).strip(), None
                known = written.isdecimal() and int(written) < len(self._texts)
                self._count_text(self._texts[int(written)] if known else 0)
            case "si":
                self._texts[-1] = sum(map(len, self._pointer))
                self._pointer = None
                self._count_text(self._texts[-1])

    def _says(self, text: str) -> None:
        if self._pointer is not None:
            self._pointer.append(text)

    def _row(self, number: str) -> None:
        self._rows = max(self._rows + 1, int(number) if number.isdecimal() else 0)
        self._column = 0
        self._count_cells()

    def _cell(self, attributes: dict[str, str]) -> None:
        self._points = attributes.get("t") == "s"
        place = _CELL.fullmatch(attributes.get("r", ""))
        self._column = _column(place[1]) if place else self._column + 1
        self._rows = max(self._rows, int(place[2]) if place else 1)
        self._columns = max(self._columns, self._column)
        self._count_cells()

    def _count_cells(self) -> None:
        if self._cells + self._rows * self._columns > MOST_CELLS:
            raise _TooLargeError

    def _count_text(self, length: int) -> None:
        self._text += length
        if self._text > MOST_TEXT:
            raise _TooLargeError

    def _merged(self, span: str) -> None:
        first, _, last = span.partition(":")
        one, other = _CELL.fullmatch(first), _CELL.fullmatch(last or first)
        if one and other:
            rows = abs(int(other[2]) - int(one[2])) + 1
            self._cells += rows * (abs(_column(other[1]) - _column(one[1])) + 1)
            self._count_cells()


def _column(letters: str) -> int:
    number = 0
    for one in letters.upper():
        number = number * 26 + ord(one) - ord("A") + 1
    return number


def _refuse_type(*_: object) -> None:
    raise ValueError("a workbook declares no document type")
