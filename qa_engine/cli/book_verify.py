"""``qa-engine book verify``: is everything in a record book as it was entered."""

import json
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import click

from qa_engine.cli.book_options import BOOK, FILE
from qa_engine.cli.output import writable

if TYPE_CHECKING:
    from qa_engine.book import Book
    from qa_engine.book.breach import Breach
    from qa_engine.book.signing import SignedHead

BREACHED = 1
"""Exit status when something is not as it was entered."""

SHOWN = 1000
"""So many breaches are told one by one; the others are counted."""


@click.command("verify")
@BOOK
@click.option(
    "--head", "heads", multiple=True, type=FILE, help="A signed tree head that was kept elsewhere."
)
@click.option("--format", "form", type=click.Choice(("text", "json")), default="text")
@click.option("--out", type=FILE, callback=writable, help="Write what was found to this file.")
def verify(book: str, heads: tuple[Path, ...], form: str, out: Path | None) -> None:
    """Tell whether everything in a record BOOK is as it was entered, and what is not.

    A row that was changed, removed, inserted or moved is named. Somebody who owns the database
    and knows how it is made can rewrite the book from some entry on so that it fits itself; that
    is found with a tree head that was signed before (`book sign`) and kept out of their reach.

    Exit status: 0 all is as it was entered, 1 something is not, 2 the call is wrong.
    """
    from qa_engine.book import open_book
    from qa_engine.book.verify import breaches

    kept = [head_in(path) for path in heads]
    with open_book(book) as opened:
        found = breaches(opened, kept)
        shown = list(islice(found, SHOWN))
        more = sum(1 for _ in found)
        text = {"text": _text, "json": _json}[form](opened, kept, shown, more)
    if out is None:
        click.echo(text, nl=False)
    else:
        out.write_text(text, encoding="utf-8", newline="\n")
        click.echo(f"Written to {out}.", err=True)
    raise SystemExit(BREACHED if shown else 0)


def head_in(path: Path) -> "SignedHead":
    """Return the signed tree head in a file.

    Raises:
        BookError: the file cannot be read or holds none.
    """
    from qa_engine.book.signing import read_head
    from qa_engine.errors import BookError

    try:
        return read_head(path.read_text(encoding="utf-8"), str(path))
    except OSError as error:
        raise BookError(f"{path}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise BookError(f"{path}: is no text in UTF-8, so no signed tree head") from None


def _text(book: "Book", kept: list["SignedHead"], shown: list["Breach"], more: int) -> str:
    lines = [str(breach) for breach in shown]
    lines += [f"and {more} more"] if more else []
    if lines:
        lines.append(f"{book.url}: NOT as it was entered: {len(shown) + more} breaches")
    else:
        with_heads = f", and to {len(kept)} kept heads" if kept else ""
        lines.append(f"{book.url}: {book.size()} entries, all as they were entered{with_heads}")
        lines.append(f"root {book.root().hex()}")
    return "\n".join(lines) + "\n"


def _json(book: "Book", kept: list["SignedHead"], shown: list["Breach"], more: int) -> str:
    found = {
        "book": book.url,
        "whole": not shown,
        "heads": [{"size": head.size, "root": head.root.hex()} for head in kept],
        "breaches": [vars(breach) for breach in shown],
        "more_breaches": more,
    }
    if not shown:
        found |= {"entries": book.size(), "root": book.root().hex()}
    return json.dumps(found, indent=1, ensure_ascii=False) + "\n"
