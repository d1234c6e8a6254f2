"""Tree heads of a book, signed: made from the book, and noted in it."""

import json
from datetime import datetime

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import select

from qa_engine.book import schema
from qa_engine.book.merkle import root_of
from qa_engine.book.merkle_proofs import consistency_proof, is_consistent
from qa_engine.book.signing import SignedHead, sign
from qa_engine.book.store import Book
from qa_engine.book.submission import Receipt
from qa_engine.book.writing import head_of
from qa_engine.errors import BookError


def signed_head(
    book: Book, key: Ed25519PrivateKey, at: datetime, since: SignedHead | None = None
) -> SignedHead:
    """Return the book's tree head, signed.

    Args:
        book: the record book.
        key: the private key.
        at: when it is signed.
        since: an earlier head; the new one then carries the proof that nothing that the earlier
            one speaks of was changed.

    Raises:
        BookError: the earlier head is not of this book, or what it speaks of was changed.
    """
    about = book.about()["id"]
    with book.reading() as held:
        frontier = head_of(held).frontier
        log = schema.entries
        query = select(log.c.digest).order_by(log.c.entry)
        digests = [bytes(row[0]) for row in held.execute(query)] if since else []
    head = SignedHead(about, frontier.size, frontier.root, at, b"")
    if since is not None:
        head = _since(head, since, digests)
    return sign(head, key)


def _since(head: SignedHead, since: SignedHead, digests: list[bytes]) -> SignedHead:
    if since.book != head.book:
        raise BookError(f"the earlier head is of book {since.book}, and this is {head.book}")
    if since.size > len(digests) or root_of(digests[: since.size]) != since.root:
        raise BookError(
            f"what the earlier head of {since.size} entries speaks of was changed; run "
            "`qa-engine book verify` with that head"
        )
    proof = tuple(consistency_proof(digests, since.size))
    return SignedHead(
        head.book, head.size, head.root, head.time, head.key, since=since.size, proof=proof
    )


def note_head(book: Book, head: SignedHead, *, entered_at: datetime, entered_by: str) -> Receipt:
    """Write a signed head into its book, as an entry of kind ``signature``."""
    return book.put(
        "signature",
        f"{head.size}/{head.key.hex()[:16]}",
        json.loads(head.text),
        key=head.signature.hex(),
        entered_at=entered_at,
        entered_by=entered_by,
    )


def fault_between(earlier: SignedHead, later: SignedHead) -> str | None:
    """Tell what is wrong between two signed heads, without the book; None if all is well.

    Args:
        earlier: a head that was kept.
        later: a head that was signed later, with the proof from the earlier one.
    """
    for which, head in (("earlier", earlier), ("later", later)):
        if not head.is_genuine:
            return f"the {which} head does not bear the signature of its key"
    if earlier.book != later.book:
        return f"the heads are of two books, {earlier.book} and {later.book}"
    if earlier.key != later.key:
        return "the heads are signed by two keys; ask the operator why"
    if later.since != earlier.size:
        return (
            "the later head carries no proof from the earlier one; have it signed with "
            "`qa-engine book sign --since`"
        )
    ends = (earlier.size, earlier.root, later.size, later.root)
    if not is_consistent(*ends, later.proof):
        return "what the earlier head speaks of was changed before the later one was signed"
    return None
