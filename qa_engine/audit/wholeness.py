"""Whether a book is whole, and who signed its tree head."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import select

from qa_engine.book import Book
from qa_engine.book.breach import Breach
from qa_engine.book.canonical_json import microseconds
from qa_engine.book.replacing import standing_in
from qa_engine.book.schema import submissions, tree_heads
from qa_engine.book.signing import SignedHead, read_head
from qa_engine.book.verify import verify
from qa_engine.errors import BookError

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Wholeness:
    """A record book as it stood at an instant, and what verifying it found.

    Attributes:
        id: the book's id.
        begun: when it was begun.
        size: how many entries it had.
        root: the root of the tree over them, in hexadecimal; empty before the first one.
        signed: the latest signed head that the book had; None if none was signed.
        genuine: whether that head bears the signature of its key and is of this book.
        breaches: what is not as it was entered, in the whole of the book.
    """

    id: str
    begun: datetime
    size: int
    root: str
    signed: SignedHead | None
    genuine: bool
    breaches: tuple[Breach, ...]

    @property
    def says(self) -> str:
        """Say in a sentence what was found."""
        if not self.breaches:
            return "The record book was verified: everything in it is as it was entered."
        count = len(self.breaches)
        things = "1 thing in it is" if count == 1 else f"{count:,} things in it are"
        return f"The record book was verified and is NOT whole: {things} not as entered."

    @property
    def signature_says(self) -> str:
        """Say in a sentence whether the tree head was signed."""
        if self.signed is None:
            return "No tree head of it was ever signed."
        if not self.genuine:
            return "The signature of its latest signed head is NOT that of the key it names."
        since = self.size - self.signed.size
        after = "1 entry came in since" if since == 1 else f"{since:,} entries came in since"
        size, day = self.signed.size, self.signed.time
        return f"Its tree head of {size:,} entries was signed on {day:%Y-%m-%d}; {after}."


def wholeness_of(book: Book, as_of: datetime, heads: Sequence[SignedHead] = ()) -> Wholeness:
    """Return how a book stood at an instant, verified as it is now.

    Args:
        book: the record book.
        as_of: what it knew at this instant.
        heads: signed tree heads that were kept elsewhere.
    """
    about = book.about()
    begun, size, root = _head_at(book, as_of)
    signed = latest_head(book, as_of)
    genuine = signed is not None and signed.is_genuine and signed.book == about["id"]
    return Wholeness(about["id"], begun, size, root, signed, genuine, tuple(verify(book, heads)))


def _head_at(book: Book, as_of: datetime) -> tuple[datetime, int, str]:
    heads = (
        select(tree_heads.c.size, tree_heads.c.root)
        .join(submissions, submissions.c.submission == tree_heads.c.submission)
        .where(submissions.c.entered_at <= microseconds(as_of))
        .order_by(tree_heads.c.submission.desc())
        .limit(1)
    )
    begun = select(submissions.c.entered_at).where(submissions.c.first_entry == 1)
    with book.reading() as held:
        row = held.execute(heads).first()
        moment = held.execute(begun).scalar() or 0
    size, root = (row[0], bytes(row[1]).hex()) if row else (0, "")
    return _EPOCH + timedelta(microseconds=moment), size, root


def latest_head(book: Book, known_at: datetime | None = None) -> SignedHead | None:
    """Return the latest signed head that stands in a book; None if there is none to read.

    Args:
        book: the record book.
        known_at: what it knew at this instant; by default, all that it knows.
    """
    found = []
    for one in standing_in(book, "signature", known_at):
        try:
            found.append(read_head(json.dumps(one.body)))
        except BookError:
            continue  # verifying the book tells it
    return max(found, key=lambda head: (head.size, head.time), default=None)
