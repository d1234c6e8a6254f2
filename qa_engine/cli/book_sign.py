"""``qa-engine book sign`` and ``book heads``: signed tree heads for somebody to keep."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from qa_engine.cli.book_options import BOOK, BY, FILE, now
from qa_engine.cli.book_verify import BREACHED, head_in
from qa_engine.cli.output import writable

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from qa_engine.book import Book


@click.command("sign")
@BOOK
@BY
@click.option("--key", type=FILE, help="Private key; by default, beside a book in a file.")
@click.option("--out", type=FILE, required=True, callback=writable, help="Where the head goes.")
@click.option("--since", type=FILE, help="An earlier head; the new one then proves that it holds.")
def sign(book: str, by: str, key: Path | None, out: Path, since: Path | None) -> None:
    """Sign the tree head of a record BOOK, for somebody to keep out of reach of the book.

    The book is verified first. A key that is not there is made, for its owner alone to read; keep
    a copy of it, and never beside the heads. The signature is noted in the book as well.

    Exit status: 0 signed, 1 the book is not as it was entered, 2 the call is wrong.
    """
    from qa_engine.book import open_book
    from qa_engine.book.heads import note_head, signed_head
    from qa_engine.book.verify import breaches

    earlier = None if since is None else head_in(since)
    with open_book(book) as opened:
        private = _key(opened, key)
        if (wrong := next(breaches(opened, [earlier] if earlier else []), None)) is not None:
            click.echo(f"{opened.url}: not signed, since it is not as it was entered.", err=True)
            click.echo(f"{wrong}; `qa-engine book verify` tells all", err=True)
            raise SystemExit(BREACHED)
        moment = now()
        head = signed_head(opened, private, moment, earlier)
        out.write_text(head.text, encoding="utf-8", newline="\n")
        note_head(opened, head, entered_at=moment, entered_by=by)
    click.echo(f"Signed tree head of {head.size} entries written to {out}; keep it elsewhere.")


def _key(book: "Book", path: Path | None) -> "Ed25519PrivateKey":
    from qa_engine.book.keys import make_key, read_key

    if path is None:
        if book.folder is None:
            raise click.UsageError("name the private key with --key; it is made if it is not there")
        path = book.folder.with_suffix(".key")  # fleet.book.files gives fleet.book.key
    if path.exists():
        return read_key(path)
    key = make_key(path)
    click.echo(f"Made the private key {path}; keep a copy of it, and let nobody else read it.")
    return key


@click.command("heads")
@click.argument("earlier", type=FILE)
@click.argument("later", type=FILE)
def heads(earlier: Path, later: Path) -> None:
    """Tell whether a LATER signed head proves that nothing was changed since an EARLIER one.

    The record book itself is not needed. The later head must be signed with `book sign --since`.

    Exit status: 0 proved, 1 not, 2 the call is wrong.
    """
    from qa_engine.book.heads import fault_between

    before, after = head_in(earlier), head_in(later)
    if (fault := fault_between(before, after)) is not None:
        click.echo(f"NOT proved: {fault}.")
        raise SystemExit(BREACHED)
    click.echo(
        f"Proved: the {before.size} entries of the earlier head stand unchanged and in order "
        f"among the {after.size} of the later one."
    )
