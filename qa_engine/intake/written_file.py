"""A file of records as it was handed in: on disk, or held in memory under a file's name."""

import io
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import BinaryIO

from qa_engine.errors import IntakeError


@dataclass(frozen=True)
class WrittenFile:
    """A file of records, by the name that messages give it.

    Attributes:
        name: its path as the caller wrote it; the suffix says how the file is written.
        content: what it holds; read from the disk if not given.
        path: where it lies, if that is not its name.
    """

    name: str
    content: bytes | None = None
    path: Path | None = None

    @classmethod
    def of(cls, file: "Path | WrittenFile") -> "WrittenFile":
        return file if isinstance(file, WrittenFile) else cls(str(file))

    @property
    def suffix(self) -> str:
        return PurePath(self.name).suffix.lower()

    def open(self) -> BinaryIO:
        """Return the content as a stream of bytes.

        Raises:
            IntakeError: there is no such file, it is a folder, empty or cannot be opened.
        """
        stream = io.BytesIO(self.content) if self.content is not None else self._open_path()
        if not stream.read(1):
            stream.close()
            raise IntakeError(f"{self.name}: the file is empty")
        stream.seek(0)
        return stream

    def _open_path(self) -> BinaryIO:
        path = self.path or Path(self.name)
        if path.is_dir():
            raise IntakeError(f"{self.name}: this is a folder; name the files in it")
        try:
            return path.open("rb")
        except FileNotFoundError:
            raise IntakeError(f"{self.name}: there is no such file") from None
        except (OSError, ValueError) as error:
            raise IntakeError(f"{self.name}: cannot be opened: {error}") from None


def not_utf8(name: str, stream: BinaryIO) -> IntakeError:
    """Return the error for a text file that is not UTF-8; it names the first line that is not."""
    stream.seek(0)
    line = next((n for n, text in enumerate(stream, 1) if not _is_utf8(text)), 1)
    return IntakeError(f"{name}:{line}: this is not UTF-8 text; save the file as UTF-8")


def _is_utf8(text: bytes) -> bool:
    try:
        text.decode()
    except UnicodeDecodeError:
        return False
    return True
