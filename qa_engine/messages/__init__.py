"""Messages to people: what stands in the morning at a base, and what a crew must stop for."""

from qa_engine.messages.message import Channel, Message
from qa_engine.messages.morning import morning_message
from qa_engine.messages.outbox import Outbox, Queued
from qa_engine.messages.sending import Rounds, Tally
from qa_engine.messages.settings import MessageSettings, read_settings
from qa_engine.messages.stop import stop_messages

__all__ = [
    "Channel",
    "Message",
    "MessageSettings",
    "Outbox",
    "Queued",
    "Rounds",
    "Tally",
    "morning_message",
    "read_settings",
    "stop_messages",
]
