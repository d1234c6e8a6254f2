"""Files that other systems drop into a folder: when one is whole, and where it goes then."""

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

from qa_engine.errors import IntakeError

TAKEN, REFUSED = "taken", "refused"
"""The folders into which files go once they were read."""

UNFINISHED = (".part", ".partial", ".tmp", ".temp", ".crdownload", ".filepart")
"""Ends of names that say that a file is still being written."""


class Look(NamedTuple):
    """What a file looked like: when it is the same twice, nobody is writing it any more."""

    size: int
    changed_ns: int
    inode: int


@dataclass
class DropFolder:
    """A folder in which files are dropped.

    A file is whole when its size and its time of change stayed the same for a while; one that was
    renamed into the folder is so at once after that while. Names that begin with a dot or end as
    unfinished files do are left alone, as are folders.

    Attributes:
        folder: where files are dropped.
        settled_s: for how long a file must look the same [s].
    """

    folder: Path
    settled_s: float
    _looks: dict[Path, tuple[Look, float]] = field(default_factory=dict)

    def prepare(self) -> None:
        """Make the folders that files go into.

        Raises:
            IntakeError: there is no such folder, or nothing can be written in it.
        """
        if not self.folder.is_dir():
            raise IntakeError(f"{self.folder}: there is no such folder; make it first")
        try:
            for name in (TAKEN, REFUSED):
                (self.folder / name).mkdir(exist_ok=True)
        except OSError as error:
            raise IntakeError(f"{self.folder}: cannot be written: {error.strerror}") from None

    def whole(self, now_s: float) -> list[Path]:
        """Return the files that are whole, those dropped first before the others.

        Args:
            now_s: a clock that never goes back [s].
        """
        found = dict(self._dropped())
        self._looks = {path: seen for path, seen in self._looks.items() if path in found}
        ready = []
        for path, look in found.items():
            before, since_s = self._looks.get(path, (None, now_s))
            if before != look:
                self._looks[path] = (look, now_s)
            elif look.size and now_s - since_s >= self.settled_s:
                ready.append(path)
        return sorted(ready, key=lambda path: (found[path].changed_ns, path.name))

    def _dropped(self) -> Iterator[tuple[Path, Look]]:
        with os.scandir(self.folder) as entries:
            for entry in entries:
                if entry.name.startswith((".", "~")) or entry.name.lower().endswith(UNFINISHED):
                    continue
                try:
                    if not entry.is_file(follow_symlinks=False):
                        continue
                    told = entry.stat(follow_symlinks=False)
                except FileNotFoundError:
                    continue  # taken away between the two looks
                yield Path(entry.path), Look(told.st_size, told.st_mtime_ns, told.st_ino)

    def put_away(self, file: Path, where: str) -> Path:
        """Move a file that was read to ``TAKEN`` or ``REFUSED`` and return where it is now."""
        target = self.folder / where / file.name
        if target.exists():
            with file.open("rb") as stream:
                digest = sha256(stream.read()).hexdigest()[:12]
            target = target.with_name(f"{file.stem}-{digest}{file.suffix}")
        file.replace(target)
        self._looks.pop(file, None)
        return target
