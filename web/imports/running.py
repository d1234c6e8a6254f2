"""Work on files that may take longer than a page: done beside the pages, with its progress."""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from flask import Flask, current_app

from qa_engine.book.file_import import Gathered
from qa_engine.errors import QAEngineError

EXTENSION = "imports"
GRACE_S = 2.0
"""For how long a page waits for work: most of it is done by then [s]."""

AT_ONCE = 2
MOST_KEPT = 30
MOST_ROWS = 5_000_000
"""How many rows one file may have; few bytes can stand for very many."""

READING, TRYING, TAKING = "reading", "trying", "taking"

FAILED = "Something failed while this file was read. What was taken in so far is kept."
TOO_MANY = "the file has more than {most:,} rows; split it"


@dataclass
class Run:
    """One piece of work on a file.

    Attributes:
        what: ``READING``, ``TRYING`` or ``TAKING``.
        of: tells the state of the map that it was begun with.
        rows: how many rows are done.
        share: of the file that is read, from 0 to 1; none if that is not known.
        gathered: what came of it.
        error: why nothing did.
    """

    what: str
    of: str = ""
    rows: int = 0
    share: float | None = None
    gathered: Gathered | None = None
    error: QAEngineError | None = None
    _over: threading.Event = field(default_factory=threading.Event)

    @property
    def over(self) -> bool:
        return self._over.is_set()

    def wait(self) -> None:
        """Wait for its end, though not for long."""
        self._over.wait(GRACE_S)

    def told(self, rows: int, share: float | None) -> None:
        """Keep how far it has come.

        Raises:
            QAEngineError: there are too many rows.
        """
        self.rows += rows
        self.share = share
        if self.rows > MOST_ROWS:
            raise QAEngineError(TOO_MANY.format(most=MOST_ROWS))

    def go(self, work: "Callable[[Run], None]") -> None:
        """Do the work; whatever becomes of it, the run is over then."""
        self.error = QAEngineError(FAILED)
        try:
            work(self)
            self.error = None
        except QAEngineError as error:
            self.error = error
        finally:
            self._over.set()


class Runs:
    """The latest work on each file, by digest; kept in this process only."""

    def __init__(self) -> None:
        self._runs: dict[str, Run] = {}
        self._lock = threading.Lock()
        self._desks = threading.BoundedSemaphore(AT_ONCE)

    def of(self, digest: str) -> Run | None:
        """Return the latest work on a file."""
        return self._runs.get(digest)

    def busy(self, digest: str) -> bool:
        """Tell whether work on a file is going on."""
        run = self.of(digest)
        return run is not None and not run.over

    def forget(self, digest: str) -> None:
        """Forget work on a file that is over."""
        with self._lock:
            if not self.busy(digest):
                self._runs.pop(digest, None)

    def begin(self, digest: str, run: Run, work: Callable[[Run], None]) -> Run:
        """Begin work on a file and wait a moment; while other work on it goes on, that is given.

        Args:
            digest: of the file.
            run: what is begun.
            work: does it.
        """
        with self._lock:
            if self.busy(digest):
                return self._runs[digest]
            self._runs.pop(digest, None)
            self._runs[digest] = run
            self._make_room()
        threading.Thread(target=self._go, args=(run, work), daemon=True).start()
        run.wait()
        return run

    def _go(self, run: Run, work: Callable[[Run], None]) -> None:
        with self._desks:
            run.go(work)

    def _make_room(self) -> None:
        over = [digest for digest, run in self._runs.items() if run.over]
        for digest in over[: max(0, len(self._runs) - MOST_KEPT)]:
            del self._runs[digest]


def runs() -> Runs:
    """Return the work of the front end that answers this request."""
    app: Flask = current_app._get_current_object()  # type: ignore[attr-defined]
    found: Runs = app.extensions.setdefault(EXTENSION, Runs())
    return found
