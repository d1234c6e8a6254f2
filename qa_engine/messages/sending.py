"""A round of messages: what is to be told goes into the outbox, and what waits there is sent."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime

from qa_engine.book.lookout import FleetState, Lookout
from qa_engine.messages.delivery import NotDelivered
from qa_engine.messages.message import MAIL, WEBHOOK, Message
from qa_engine.messages.morning import morning_identity, morning_message
from qa_engine.messages.outbox import Outbox
from qa_engine.messages.post import post
from qa_engine.messages.settings import MessageSettings
from qa_engine.messages.stop import identities, stop_messages, stops_of
from qa_engine.messages.webhook import call

GONE = "The settings name this address no more; nothing was sent."
NO_WAY = "The settings do not say how it would be sent; nothing was."


@dataclass(frozen=True)
class Tally:
    """What became of the messages of a round: how many were sent, will be tried again, given up."""

    sent: int = 0
    waiting: int = 0
    given_up: int = 0


class Rounds:
    """Tells people what there is to tell, round by round.

    Args:
        lookout: tells what stands.
        outbox: where messages wait.
        settings: who is told, and how.
        now: tells the time.
        holder: the name of who sends; no two processes or threads have the same.
    """

    def __init__(
        self,
        lookout: Lookout,
        outbox: Outbox,
        settings: MessageSettings,
        now: Callable[[], datetime],
        holder: str,
    ) -> None:
        self._lookout = lookout
        self._outbox = outbox
        self._settings = settings
        self._now = now
        self._holder = holder
        self._seen: FleetState | None = None

    def round(self, stop: Callable[[], bool] = lambda: False) -> Tally:
        """Gather what is to be told, then send what waits.

        Args:
            stop: asked before each message; the rest waits once it says yes.

        Raises:
            BookError: the book cannot be read or written.
        """
        self.gather()
        tally = self.send(stop)
        self._outbox.end_round(self._now())
        return tally

    def gather(self) -> None:
        """Put into the outbox what is to be told now; nothing comes in twice."""
        now = self._now()
        state = self._lookout.state(now)
        self._outbox.put(self._mornings(state, now), now)
        if state is not self._seen:
            self._tell_stops(state, now)
            self._seen = state

    def send(self, stop: Callable[[], bool] = lambda: False) -> Tally:
        """Send every message whose time has come; none is tried twice in a round."""
        sent = waiting = given_up = 0
        while not stop() and (queued := self._outbox.claim(self._holder, self._now())) is not None:
            try:
                self._deliver(queued.message)
            except NotDelivered as why:
                over = self._outbox.failed(queued, self._holder, why, self._now())
                given_up += over
                waiting += not over
            else:
                self._outbox.sent(queued.message.key, self._now())
                sent += 1
        return Tally(sent, waiting, given_up)

    def _mornings(self, state: FleetState, now: datetime) -> Iterator[Message]:
        """Yield the morning messages of the day that are not in the outbox yet.

        Wall clocks are compared: an hour that the clocks skip has come when they moved on, and one
        that they repeat finds its message sent.
        """
        here = now.astimezone(state.register.zone)
        if here.time() < self._settings.morning:
            return
        for base, channels in self._settings.bases.items():
            for to in channels:
                named = Message(morning_identity(base, here.date()), to, "", "")
                if not self._outbox.knows(named.key):
                    yield morning_message(state, base, here.date(), to)

    def _tell_stops(self, state: FleetState, now: datetime) -> None:
        settings = self._settings
        self._outbox.tell(
            identities(stops_of(state)),
            (state.entries, state.as_of),
            now,
            lambda new: stop_messages(state, new, settings.bases, settings.vans),
        )

    def _deliver(self, message: Message) -> None:
        """Hand a message over.

        Raises:
            NotDelivered: it was not taken, or its address is in the settings no more.
        """
        settings = self._settings
        mail, secret = settings.mail, settings.secret
        if message.to not in settings.channels():
            raise NotDelivered(GONE, for_good=True)
        if message.to.kind == MAIL and mail is not None:
            post(message, mail, self._now())
        elif message.to.kind == WEBHOOK and secret is not None:
            call(message, secret, settings.webhook_tls)
        else:
            raise NotDelivered(NO_WAY, for_good=True)
