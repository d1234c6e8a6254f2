"""Verifying a record book: is everything in it as it was entered, and nothing more or less.

Whatever is altered in a stored row no longer fits the digest taken when it was entered. Who alters
the digest as well no longer fits the Merkle tree; who reckons the whole tree anew no longer fits a
tree head that somebody kept elsewhere. Rows are read in stretches, so that memory does not grow
with the book.
"""

import json
from collections.abc import Iterable, Iterator, Sequence

from sqlalchemy import Connection

from qa_engine.book.breach import Breach
from qa_engine.book.faults import is_damage
from qa_engine.book.signing import SignedHead, read_head
from qa_engine.book.store import Book
from qa_engine.book.stretch import ENTRIES_AT_ONCE, fetched, stretches
from qa_engine.book.verify_beside import bodies_of, breaches_beside
from qa_engine.book.verify_order import Order
from qa_engine.book.verify_rows import breaches_of_rows
from qa_engine.book.verify_tree import KeptHead, Tree
from qa_engine.errors import BookError


def verify(
    book: Book, heads: Iterable[SignedHead] = (), *, at_once: int = ENTRIES_AT_ONCE
) -> list[Breach]:
    """Return everything that is wrong in a book; nothing, if it is whole.

    Args:
        book: the record book.
        heads: signed tree heads that were kept elsewhere.
        at_once: how many entries are held in memory.
    """
    return list(breaches(book, heads, at_once=at_once))


def breaches(
    book: Book, heads: Iterable[SignedHead] = (), *, at_once: int = ENTRIES_AT_ONCE
) -> Iterator[Breach]:
    """Yield everything that is wrong in a book, as it is found."""
    try:
        with book.reading() as connection:
            yield from breaches_within(book, connection, list(heads), at_once)
    except BookError as error:
        if not is_damage(error):
            raise
        yield Breach(str(error))


def breaches_within(
    book: Book,
    connection: Connection,
    heads: Sequence[SignedHead] = (),
    at_once: int = ENTRIES_AT_ONCE,
) -> Iterator[Breach]:
    """Yield everything that is wrong in a book as one of its transactions sees it."""
    about = _id_of(connection)
    yield from _not_genuine(heads, about)
    signed, unsound = _signed_in(connection, about)
    yield from unsound
    yield from _of_the_log(connection, [*_kept(heads), *signed], at_once)
    yield from breaches_beside(connection, book.folder)


def _of_the_log(connection: Connection, kept: list[KeptHead], at_once: int) -> Iterator[Breach]:
    order, tree = Order(), Tree(kept)
    for stretch in stretches(connection, at_once):
        yield from order.breaches(stretch)
        yield from breaches_of_rows(stretch)
        yield from tree.breaches(stretch)
    yield from order.end(connection)


def _id_of(connection: Connection) -> str:
    found = fetched(connection, "SELECT value FROM book WHERE key = 'id'")
    return str(found[0][0]) if found else ""


def _kept(heads: Iterable[SignedHead]) -> list[KeptHead]:
    return [
        KeptHead(f"the head signed {head.time:%Y-%m-%d %H:%M} UTC", head.size, head.root)
        for head in heads
    ]


def _not_genuine(heads: Iterable[SignedHead], about: str) -> Iterator[Breach]:
    for head in heads:
        named = f"the head signed {head.time:%Y-%m-%d %H:%M} UTC"
        if not head.is_genuine:
            yield Breach(f"{named} does not bear the signature of its key")
        if head.book != about:
            yield Breach(f"{named} speaks of book {head.book}; this one says it is {about}")


def _signed_in(connection: Connection, about: str) -> tuple[list[KeptHead], list[Breach]]:
    """Return the heads signed by the book's own entries, and what is wrong with those."""
    kept: list[KeptHead] = []
    unsound: list[Breach] = []
    for entry, id_, body in bodies_of(connection, "signature"):
        try:
            head = read_head(json.dumps(body))
        except BookError:
            unsound.append(Breach("it is no signed tree head", entry, kind="signature", id=id_))
            continue
        if head.is_genuine and head.book == about and head.size < entry:
            kept.append(KeptHead(f"the head signed in entry {entry}", head.size, head.root))
        else:
            says = "the signature is not that of its key, or is not over this book"
            unsound.append(Breach(says, entry, kind="signature", id=id_))
    return kept, unsound
