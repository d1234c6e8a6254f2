"""How a text file is encoded, and the same text in UTF-8."""

import codecs
from collections.abc import Iterator
from contextlib import contextmanager
from tempfile import SpooledTemporaryFile
from typing import BinaryIO, cast

from qa_engine.errors import IntakeError

UTF_8 = "utf-8"
UTF_16 = "utf-16"
CP1252 = "cp1252"
ENCODINGS = (UTF_8, UTF_16, "utf-16-le", "utf-16-be", CP1252)
"""The encodings of text that are taken, by the names that a column map gives them."""

_PIECE = 1 << 20
_IN_MEMORY = 64 << 20
_MARKS = {codecs.BOM_UTF8: UTF_8, codecs.BOM_UTF16_LE: UTF_16, codecs.BOM_UTF16_BE: UTF_16}
_SHARE_OF_ZEROS = 0.3


def encoding_of(stream: BinaryIO) -> str:
    """Return the encoding of a text: by its byte order mark, or else by what can be read.

    What is neither UTF-8 nor UTF-16 is taken for cp1252, the one of western European Windows.
    """
    start = stream.read(4096)
    stream.seek(0)
    for mark, encoding in _MARKS.items():
        if start.startswith(mark):
            return encoding
    for zeros, encoding in ((start[1::2], "utf-16-le"), (start[::2], "utf-16-be")):
        if zeros.count(0) > _SHARE_OF_ZEROS * max(1, len(zeros)):
            return encoding
    return UTF_8 if _is_utf8(stream) else CP1252


def _is_utf8(stream: BinaryIO) -> bool:
    decoder = codecs.getincrementaldecoder(UTF_8)()
    try:
        while piece := stream.read(_PIECE):
            decoder.decode(piece)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    finally:
        stream.seek(0)
    return True


@contextmanager
def as_utf8(name: str, stream: BinaryIO, encoding: str | None = None) -> Iterator[BinaryIO]:
    """Give the text of a stream in UTF-8; what is UTF-8 already is passed on as it is.

    Args:
        name: the file, for messages.
        stream: the text as it is encoded, at its beginning.
        encoding: one of ``ENCODINGS``; if not given, UTF-8 unless a byte order mark says UTF-16.

    Raises:
        IntakeError: a byte is not of that encoding.
    """
    if encoding is None:
        start = stream.read(2)
        stream.seek(0)
        encoding = _MARKS.get(start, UTF_8)
    if encoding == UTF_8:
        yield stream
        return
    with SpooledTemporaryFile(_IN_MEMORY) as copy:
        _recode(name, stream, encoding, cast(BinaryIO, copy))
        yield cast(BinaryIO, copy)


def _recode(name: str, stream: BinaryIO, encoding: str, copy: BinaryIO) -> None:
    decoder = codecs.getincrementaldecoder(encoding)()
    lines = 1
    try:
        while piece := stream.read(_PIECE):
            text = decoder.decode(piece)
            lines += text.count("\n")
            copy.write(text.encode())
        copy.write(decoder.decode(b"", final=True).encode())
    except (UnicodeDecodeError, UnicodeEncodeError):
        where = f"{name}: behind line {lines}"
        raise IntakeError(f"{where} this is not text in {encoding}; save it as UTF-8") from None
    copy.seek(0)
