"""Where files lie from when they are handed in until they are taken in, a day at most.

A file lies under the digest of what it holds. Its name comes from a stranger: it is shown, and its
end tells how the file is written, but it is never part of a path.
"""

import hashlib
import json
import os
import re
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path, PurePath
from typing import IO

from qa_engine.book import Book
from qa_engine.errors import IntakeError
from qa_engine.intake import WrittenFile
from qa_engine.intake.grids.opening import SUFFIXES

KEPT_FOR = timedelta(days=1)
LONGEST_NAME = 100
OWNER_ONLY = 0o700
DIGEST = re.compile("[0-9a-f]{64}")
_PIECE = 1 << 20


@dataclass(frozen=True)
class Asked:
    """A question of the proposal: what is asked, and what may be answered, if that is a choice."""

    text: str
    answers: tuple[str, ...] = ()


@dataclass(frozen=True)
class HandedIn:
    """A file that was handed in.

    Attributes:
        digest: of what it holds and how that is written.
        name: as its owner calls it.
        at: when it was handed in.
        by: the id of the person who did.
        read: whether it has been looked at.
        column_map: what its columns mean; empty if they bear our names.
        asked: what the proposal of that map asked, by name.
        told: what people said of its columns, by head.
        begun: whether somebody began to take it in.
    """

    digest: str
    name: str
    at: datetime
    by: str
    read: bool = False
    column_map: str = ""
    asked: Mapping[str, Asked] = field(default_factory=dict)
    told: Mapping[str, str] = field(default_factory=dict)
    begun: bool = False

    @property
    def map_digest(self) -> str:
        """Tells one state of the map from another."""
        return hashlib.sha256(self.column_map.encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Shelf:
    """The folder of files that were handed in."""

    folder: Path

    def put(self, name: str, stream: IO[bytes], at: datetime, by: str) -> HandedIn:
        """Keep a file, or find it if it is there; what is known of it already stays.

        Args:
            name: what its owner calls it, whatever that is.
            stream: what it holds.
            at: the instant.
            by: the id of the person who hands it in.

        Raises:
            IntakeError: it is empty, or its name ends in nothing that is known.
        """
        called = shown_name(name)
        suffix = PurePath(called).suffix.lower()
        if suffix not in SUFFIXES:
            raise IntakeError(f"{called}: the name should end in one of {', '.join(SUFFIXES)}")
        self.folder.mkdir(mode=OWNER_ONLY, exist_ok=True)
        digest = self._write(called, suffix, stream)
        known = self.find(digest) or HandedIn(digest, called, at, by)
        handed_in = replace(known, name=called, at=at, by=by)
        self.note(handed_in)
        return handed_in

    def _write(self, name: str, suffix: str, stream: IO[bytes]) -> str:
        digest = hashlib.sha256(f"{suffix}\n".encode())
        handle, copy = tempfile.mkstemp(dir=self.folder)
        try:
            with os.fdopen(handle, "wb") as out:
                while piece := stream.read(_PIECE):
                    digest.update(piece)
                    out.write(piece)
                if not out.tell():
                    raise IntakeError(f"{name}: the file is empty")
            Path(copy).replace(self.folder / digest.hexdigest())
        finally:
            Path(copy).unlink(missing_ok=True)
        return digest.hexdigest()

    def note(self, handed_in: HandedIn) -> None:
        """Keep what is known of a file."""
        written = asdict(handed_in) | {"at": handed_in.at.isoformat()}
        handle, copy = tempfile.mkstemp(dir=self.folder)
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            json.dump(written, out)
        Path(copy).replace(self._noted(handed_in.digest))

    def find(self, digest: str) -> HandedIn | None:
        """Return what is known of a file; nothing if it is not here."""
        if not DIGEST.fullmatch(digest) or not (self.folder / digest).exists():
            return None
        try:
            written = json.loads(self._noted(digest).read_text(encoding="utf-8"))
        except FileNotFoundError:
            return None
        asked = {
            name: Asked(o["text"], tuple(o["answers"])) for name, o in written["asked"].items()
        }
        at = datetime.fromisoformat(written["at"])
        return HandedIn(**(written | {"asked": asked, "at": at}))

    def all(self) -> list[HandedIn]:
        """Return the files that are here, the latest first."""
        return sorted(self._each(), key=lambda one: one.at, reverse=True)

    def _each(self) -> Iterator[HandedIn]:
        for path in self.folder.glob("*.json") if self.folder.exists() else ():
            if (found := self.find(path.stem)) is not None:
                yield found

    def written(self, handed_in: HandedIn) -> WrittenFile:
        """Return a file as the intake takes it: by its owner's name, from where it lies."""
        return WrittenFile(handed_in.name, path=self.folder / handed_in.digest)

    def remove(self, digest: str) -> None:
        """Remove a file and what is known of it."""
        if DIGEST.fullmatch(digest):
            (self.folder / digest).unlink(missing_ok=True)
            self._noted(digest).unlink(missing_ok=True)

    def _noted(self, digest: str) -> Path:
        return self.folder / f"{digest}.json"


def shown_name(name: str) -> str:
    """Return the last part of a file's name, short, with nothing in it that steers a screen."""
    last = re.split(r"[\\/]", name)[-1]
    visible = "".join(one if one.isprintable() else "?" for one in last).strip()
    end = PurePath(visible).suffix[:10]
    return visible if len(visible) <= LONGEST_NAME else visible[: LONGEST_NAME - len(end)] + end


def shelf_of(book: Book) -> Shelf:
    """Return the folder beside a book; of a book in a database, one of this process's own."""
    beside = None if book.folder is None else book.folder.with_suffix(".imports")
    return Shelf(beside or _of_this_process())


@cache
def _of_this_process() -> Path:
    return Path(tempfile.mkdtemp(prefix="qa-engine-imports-"))
