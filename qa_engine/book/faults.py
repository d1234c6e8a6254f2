"""What goes wrong in a database, told in plain words."""

from collections.abc import Iterator
from contextlib import contextmanager
from sqlite3 import Error as SQLiteError

from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError

from qa_engine.errors import BookError

BUSY = ("SQLITE_BUSY", "SQLITE_LOCKED")
_OF_SQLITE = {
    "SQLITE_FULL": "no room is left for it; free some",
    "SQLITE_READONLY": "it can only be read here; allow writing to the file and its folder",
    "SQLITE_PERM": "it may not be opened; ask for the right to read and write it",
    "SQLITE_CANTOPEN": "it cannot be opened; look whether file and folder may be read and written",
    "SQLITE_NOTADB": "this file is no record book",
    "SQLITE_CORRUPT": "the file is damaged; take the latest backup, and keep this file for proof",
    "SQLITE_IOERR": "the disk does not answer as it should; look at disk and cable before going on",
    "SQLITE_BUSY": "another program has been writing to it for long; try again when it is done",
    "SQLITE_LOCKED": "another program has been writing to it for long; try again when it is done",
}
_OF_POSTGRESQL = {
    "55P03": "another program has been writing to it for long; try again when it is done",
    "53100": "no room is left for it; free some",
    "53300": "the server has too many connections; try again shortly",
    "25006": "it can only be read here",
    "42501": "you lack the right to do that in this database",
    "3D000": "there is no such database",
    "28": "the server does not let you in; look at user and password",
    "57": "the server was stopped; try again when it is up",
    "08": "the connection to the server broke; try again",
}
NOTHING_LOST = "What was acknowledged is kept; hand in again what was not: it is taken only once."
_WHILE_CONNECTING = {"does not exist": "3D000", "authentication failed": "28", "": "08"}
"""Of what goes wrong there, PostgreSQL's driver gives only a text."""


@contextmanager
def in_plain_words(engine: Engine, url: str) -> Iterator[None]:
    """Turn errors of the database into ones that say what would do.

    Raises:
        BookError: the database refused or failed.
    """
    drivers = engine.dialect.loaded_dbapi.Error
    try:
        yield
    except (DBAPIError, drivers) as error:
        raise BookError(f"{url}: {told(error)}") from error
    except UnicodeDecodeError as error:  # SQLite speaks of a table whose name is damaged
        raise BookError(f"{url}: {_OF_SQLITE['SQLITE_CORRUPT']}") from error


def told(error: BaseException) -> str:
    """Return what an error of a database means, and what would do."""
    cause = getattr(error, "orig", None) or error
    if isinstance(cause, SQLiteError):
        name = getattr(cause, "sqlite_errorname", "")
        says = next((text for code, text in _OF_SQLITE.items() if name.startswith(code)), None)
    else:
        says = _of_server(cause)
    detail = " ".join(str(cause).split())
    return f"{says} ({detail}). {NOTHING_LOST}" if says else f"{detail}. {NOTHING_LOST}"


def _of_server(cause: BaseException) -> str | None:
    """Return what an error of PostgreSQL means."""
    said = next(state for words, state in _WHILE_CONNECTING.items() if words in str(cause))
    state = getattr(cause, "sqlstate", None) or said
    return next((text for code, text in _OF_POSTGRESQL.items() if state.startswith(code)), None)


def is_busy(error: DBAPIError) -> bool:
    """Tell whether another connection holds the lock that was asked for."""
    return str(getattr(error.orig, "sqlite_errorname", "")).startswith(BUSY)


def cannot_write(error: BookError) -> bool:
    """Tell whether a file could not be opened as a writer needs it; a reader may yet succeed."""
    cause = getattr(error.__cause__, "orig", None) or error.__cause__
    name = str(getattr(cause, "sqlite_errorname", ""))
    return name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN"))


def is_damage(error: BookError) -> bool:
    """Tell whether the file of a book is damaged, rather than out of reach."""
    cause = getattr(error.__cause__, "orig", None) or error.__cause__
    name = str(getattr(cause, "sqlite_errorname", ""))
    is_unreadable = isinstance(cause, UnicodeDecodeError)
    return is_unreadable or name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB"))
