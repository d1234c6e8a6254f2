"""The outbox: what waits to be sent, was sent or was given up; beside the book, outside its log.

A message is claimed with a lease, so that of two processes only one sends it. Between handing a
message over and noting that, a process may die: then it is sent once more when the lease has run
out, under the same Message-ID and idempotency key, by which whoever gets it knows it again.
"""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import (
    Connection,
    RowMapping,
    case,
    delete,
    func,
    insert,
    inspect,
    or_,
    select,
    update,
)

from qa_engine.book import Book
from qa_engine.messages.delivery import NotDelivered
from qa_engine.messages.instants import instant, micros
from qa_engine.messages.message import STOP, Channel, Message
from qa_engine.messages.tables import LOOKS, MARKS, MESSAGES, TOLD, metadata

PAUSES = tuple(timedelta(minutes=minutes) for minutes in (1, 5, 15, 60, 360))
"""How long to wait after each try; one try more, and a message is given up."""

MOST_TRIES = len(PAUSES) + 1
LEASE = timedelta(minutes=5)
"""For so long a message is left to whoever claimed it; longer than a try takes."""

KEPT_FOR = timedelta(days=90)
"""Then what was sent or given up is forgotten, with the address that it went to."""

SHOWN = 100
"""How many of the messages that stand in one way are listed."""

BROKEN_OFF = "The last try was broken off; whether it arrived is not known."
ROUND = "round"

WAITS = MESSAGES.c.sent_at.is_(None) & MESSAGES.c.given_up_at.is_(None)
FREE: dict[str, Any] = {"holder": None, "held_until": None}


@dataclass(frozen=True)
class Queued:
    """A message in the outbox and how it stands.

    Attributes:
        message: the message.
        attempts: how often it was tried.
        queued_at: when it came in.
        next_at: when it is tried next, while it waits.
        sent_at: when it was handed over, or None.
        given_up_at: when it was given up, or None.
        reason: why the last try failed, or None.
    """

    message: Message
    attempts: int
    queued_at: datetime
    next_at: datetime
    sent_at: datetime | None
    given_up_at: datetime | None
    reason: str | None


class Outbox:
    """The messages kept beside a record book.

    Args:
        book: whose database keeps them; the tables are made where they are missing.
    """

    def __init__(self, book: Book) -> None:
        self._reading = book.reading
        self._writing = book.writing
        with self._reading() as held:
            there = set(inspect(held).get_table_names())
        if not there.issuperset(metadata.tables):
            with self._writing() as held:
                metadata.create_all(held)

    def put(self, messages: Iterable[Message], now: datetime) -> int:
        """Take messages in, and return how many were new; one that was ever in is known."""
        by_key = {message.key: message for message in messages}
        with self._reading() as held:
            if not _unknown(held, by_key):
                return 0
        with self._writing() as held:
            return _put(held, by_key, now)

    def knows(self, key: str) -> bool:
        """Tell whether a message is in, however it stands."""
        with self._reading() as held:
            return held.scalar(select(MESSAGES.c.key).where(MESSAGES.c.key == key)) is not None

    def tell(
        self,
        standing: Collection[str],
        look: tuple[int, datetime],
        now: datetime,
        make: Callable[[Collection[str]], Iterable[Message]],
    ) -> int:
        """Take in messages on findings that nobody was told of, and return how many.

        The first look tells nobody: what stands then is in the morning messages. A look that
        rests on less than the last one is passed over, since another process knows more.

        Args:
            standing: the identities of the findings that stand.
            look: how many entries of the book the look rests on, and its instant.
            now: when messages come in.
            make: makes the messages on some findings; called while the book is held, so quickly.
        """
        mine = (look[0], micros(look[1]))
        with self._writing() as held:
            last = held.execute(select(LOOKS.c.entries, LOOKS.c.at)).first()
            if last is not None and mine < (last[0], last[1]):
                return 0
            told = set(held.scalars(select(TOLD.c.finding)))
            new = sorted(set(standing) - told)
            _note(held, new, sorted(told - set(standing)))
            _look(held, mine)
            if last is None or not new:
                return 0
            return _put(held, {message.key: message for message in make(new)}, now)

    def claim(self, holder: str, now: datetime) -> Queued | None:
        """Return a message to be sent now, which is the holder's for ``LEASE``; or None.

        A message whose last try was broken off is given up here.

        Args:
            holder: who sends it; no two processes or threads have the same name.
            now: the time.
        """
        with self._reading() as held:
            if held.scalar(_next(now)) is None:
                return None
        with self._writing() as held:
            _give_up_broken(held, now)
            key = held.scalar(_next(now))
            if key is None:
                return None
            until = micros(now + LEASE)
            taken = {"attempts": MESSAGES.c.attempts + 1, "holder": holder, "held_until": until}
            held.execute(_of(key).values(taken))
            row = held.execute(select(MESSAGES).where(MESSAGES.c.key == key)).mappings().one()
            return _queued(row)

    def sent(self, key: str, now: datetime) -> None:
        """Note that a message was handed over."""
        done = {"sent_at": micros(now), "given_up_at": None, "reason": None, **FREE}
        with self._writing() as held:
            held.execute(_of(key).values(done))

    def failed(self, queued: Queued, holder: str, why: NotDelivered, now: datetime) -> bool:
        """Note that a try failed, and say whether the message was given up.

        Whoever's lease ran out, so that another claimed it, has no say any more.
        """
        over = why.for_good or queued.attempts >= MOST_TRIES
        noted: dict[str, Any] = {"reason": str(why), **FREE}
        if over:
            noted["given_up_at"] = micros(now)
        else:
            noted["next_at"] = micros(now + PAUSES[queued.attempts - 1])
        mine = (MESSAGES.c.holder == holder, WAITS)
        with self._writing() as held:
            done = held.execute(_of(queued.message.key).where(*mine).values(noted))
            return over and done.rowcount == 1

    def send_again(self, key: str, now: datetime) -> bool:
        """Let a message that was given up wait for new tries; say whether there was such."""
        anew = {"attempts": 0, "next_at": micros(now), "given_up_at": None}
        with self._writing() as held:
            given_up = MESSAGES.c.given_up_at.is_not(None)
            return held.execute(_of(key).where(given_up).values(anew)).rowcount == 1

    def end_round(self, now: datetime) -> None:
        """Note that a round was done, and forget what ended longer than ``KEPT_FOR`` ago."""
        old = micros(now - KEPT_FOR)
        ended = func.coalesce(MESSAGES.c.sent_at, MESSAGES.c.given_up_at)
        with self._writing() as held:
            held.execute(delete(MARKS).where(MARKS.c.name == ROUND))
            held.execute(insert(MARKS).values(name=ROUND, at=micros(now)))
            held.execute(delete(MESSAGES).where(ended < old))

    def last_round(self) -> datetime | None:
        """Return when a round was last done, or None if none was."""
        with self._reading() as held:
            at = held.scalar(select(MARKS.c.at).where(MARKS.c.name == ROUND))
        return None if at is None else instant(at)

    def waiting(self) -> list[Queued]:
        """Return the messages that wait, the next one first; at most ``SHOWN``."""
        return self._listed(WAITS, MESSAGES.c.next_at)

    def given_up(self) -> list[Queued]:
        """Return the messages that were given up, the latest first; at most ``SHOWN``."""
        return self._listed(MESSAGES.c.given_up_at.is_not(None), MESSAGES.c.given_up_at.desc())

    def were_sent(self) -> list[Queued]:
        """Return the messages that were sent, the latest first; at most ``SHOWN``."""
        return self._listed(MESSAGES.c.sent_at.is_not(None), MESSAGES.c.sent_at.desc())

    def _listed(self, which: Any, order: Any) -> list[Queued]:
        asked = select(MESSAGES).where(which).order_by(order, MESSAGES.c.key).limit(SHOWN)
        with self._reading() as held:
            return [_queued(row) for row in held.execute(asked).mappings()]


def _of(key: str) -> Any:
    return update(MESSAGES).where(MESSAGES.c.key == key)


def _unknown(held: Connection, by_key: Mapping[str, Message]) -> list[str]:
    known = set(held.scalars(select(MESSAGES.c.key).where(MESSAGES.c.key.in_(list(by_key)))))
    return [key for key in by_key if key not in known]


def _put(held: Connection, by_key: Mapping[str, Message], now: datetime) -> int:
    rows = [_row(by_key[key], micros(now)) for key in _unknown(held, by_key)]
    if rows:
        held.execute(insert(MESSAGES), rows)
    return len(rows)


def _note(held: Connection, new: Iterable[str], gone: Iterable[str]) -> None:
    if rows := [{"finding": finding} for finding in new]:
        held.execute(insert(TOLD), rows)
    for finding in gone:
        held.execute(delete(TOLD).where(TOLD.c.finding == finding))


def _look(held: Connection, look: tuple[int, int]) -> None:
    held.execute(delete(LOOKS))
    held.execute(insert(LOOKS).values(entries=look[0], at=look[1]))


def _due(now: datetime) -> tuple[Any, ...]:
    """Return what makes a message one that may be claimed: its time has come, nobody has it."""
    at = micros(now)
    free = or_(MESSAGES.c.held_until.is_(None), MESSAGES.c.held_until <= at)
    return (WAITS, MESSAGES.c.next_at <= at, free)


def _next(now: datetime) -> Any:
    """Return the query of the next message to send: stops before all else."""
    urgent = case((MESSAGES.c.kind == STOP, 0), else_=1)
    order = (urgent, MESSAGES.c.next_at, MESSAGES.c.queued_at, MESSAGES.c.key)
    return select(MESSAGES.c.key).where(*_due(now)).order_by(*order).limit(1)


def _give_up_broken(held: Connection, now: datetime) -> None:
    ended = {"given_up_at": micros(now), "reason": BROKEN_OFF, **FREE}
    broken = (*_due(now), MESSAGES.c.attempts >= MOST_TRIES)
    held.execute(update(MESSAGES).where(*broken).values(ended))


def _row(message: Message, at: int) -> dict[str, Any]:
    return {
        "key": message.key,
        "identity": message.identity,
        "kind": message.kind,
        "channel": message.to.kind,
        "address": message.to.address,
        "subject": message.subject,
        "text": message.text,
        "queued_at": at,
        "attempts": 0,
        "next_at": at,
    }


def _queued(row: RowMapping) -> Queued:
    to = Channel(row["channel"], row["address"])
    names = ("sent_at", "given_up_at")
    sent, given_up = (None if row[name] is None else instant(row[name]) for name in names)
    return Queued(
        Message(row["identity"], to, row["subject"], row["text"]),
        row["attempts"],
        instant(row["queued_at"]),
        instant(row["next_at"]),
        sent,
        given_up,
        row["reason"],
    )
