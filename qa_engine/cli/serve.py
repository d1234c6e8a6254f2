"""``qa-engine serve``: the pages of a record book."""

import os
import secrets
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from datetime import UTC, datetime
from pathlib import Path

import click

from qa_engine.book import Book, is_book, open_book
from qa_engine.book.lookout import Lookout
from qa_engine.cli.book_options import FILE
from qa_engine.cli.message_rounds import sending
from qa_engine.cli.messages import lookout_of, rounds_of
from qa_engine.messages import MessageSettings, read_settings

KEY_BYTES = 32
OWNER_ONLY = 0o600
THREADS = 8
PORT = 8460
FIRST = "administrator"


@click.command("serve")
@click.argument("book")
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen at.")
@click.option("--port", default=PORT, show_default=True, help="Port to listen at.")
@click.option("--secret", type=click.Path(path_type=Path), help="File with the key of cookies.")
@click.option("--https", is_flag=True, help="The pages are reached by https only.")
@click.option("--messages", type=FILE, help="YAML file that says where messages go; sends them.")
def command(
    book: str, host: str, port: int, secret: Path | None, https: bool, messages: Path | None
) -> None:
    """Serve the pages of a record BOOK, to people who have an account.

    On the first start it prints a link, good once, to set up the first account. The key that
    cookies are signed with is made beside a book that is a file; for one in a database name it
    with --secret.
    """
    key = _key(secret or _beside(book))
    settings = read_settings(messages, os.environ) if messages else None
    with open_book(book) as opened:
        serve(opened, key, host, port, https=https, messages=settings)


def _now() -> datetime:
    return datetime.now(UTC)


def serve(
    book: Book,
    key: bytes,
    host: str,
    port: int,
    *,
    https: bool = False,
    now: Callable[[], datetime] = _now,
    messages: MessageSettings | None = None,
) -> None:
    """Serve the pages of an open book until the process is told to stop.

    Args:
        book: the book.
        key: what cookies are signed with.
        host: the address to listen at.
        port: and the port.
        https: whether the pages are reached by https only.
        now: tells the time.
        messages: where messages go; None to send none.

    Raises:
        click.UsageError: what pages need is not installed.
    """
    try:
        import waitress

        from qa_engine.web import Settings, create_app
        from qa_engine.web.accounts import Accounts
    except ImportError as error:
        raise click.UsageError(
            f"the pages need '{error.name}', which is not installed; install qa-engine[web]"
        ) from None
    lookout = lookout_of(book)
    app = create_app(book, lookout, Settings(key, now, secure=https))
    address = f"http://{host}:{port}"
    accounts = Accounts(book)
    if not accounts.any():
        link = accounts.invite(FIRST, FIRST, now())
        click.echo("Nobody may sign in yet. Set up the first account, once, at", err=True)
        click.echo(f"  {address}/people/invitation/{link}", err=True)
    click.echo(f"The pages are at {address}; Ctrl-C stops them.", err=True)
    with telling(book, messages, lookout, now):
        waitress.serve(app, host=host, port=port, threads=THREADS, ident=None)


def telling(
    book: Book,
    settings: MessageSettings | None,
    lookout: Lookout,
    now: Callable[[], datetime],
) -> AbstractContextManager[object]:
    """Return what sends messages while the pages are served, if messages are to be sent."""
    if settings is None:
        return nullcontext()
    return sending(rounds_of(book, settings, lookout, now))


def _beside(book: str) -> Path:
    if "://" in book and not book.startswith("sqlite:"):
        raise click.UsageError("name a file with --secret: this book has no folder beside it")
    path = Path(book.removeprefix("sqlite:///"))
    if not is_book(book):
        raise click.UsageError(f"{book} is no record book; 'qa-engine book create' makes one")
    return path.with_name(f"{path.name}.cookie-key")


def _key(file: Path) -> bytes:
    """Return the key that cookies are signed with, made on the first start.

    Raises:
        click.UsageError: the file holds something else.
    """
    if not file.exists():
        file.touch(mode=OWNER_ONLY)
        file.write_bytes(secrets.token_bytes(KEY_BYTES))
    key = file.read_bytes()
    if len(key) < KEY_BYTES:
        raise click.UsageError(f"{file} holds no key; remove it and a new one is made")
    return key
