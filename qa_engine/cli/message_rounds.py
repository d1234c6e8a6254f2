"""The thread that sends messages while the pages are served: a round every minute."""

import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread

import click
from polars.exceptions import PolarsError

from qa_engine.errors import QAEngineError
from qa_engine.messages import Rounds

EVERY_S = 60.0
FAULTS = (
    ArithmeticError,
    AttributeError,
    LookupError,
    RuntimeError,
    TypeError,
    ValueError,
    PolarsError,
)
"""What a fault of ours in one round may raise; it must not silence every stop message after it."""

PARTING_S = 30.0
"""How long a round that is under way may take to end; what it was sending is sent once more."""


@contextmanager
def sending(rounds: Rounds, every_s: float = EVERY_S) -> Iterator[Thread]:
    """Do a round at once and then every so often, until the end of the block.

    A round that fails is told on standard error, and the next one tries again.

    Args:
        rounds: does the rounds.
        every_s: the pause between two rounds [s].
    """
    stop = Event()
    thread = Thread(target=_run, args=(rounds, stop, every_s), name="messages", daemon=True)
    thread.start()
    try:
        yield thread
    finally:
        stop.set()
        thread.join(PARTING_S)


def _run(rounds: Rounds, stop: Event, every_s: float) -> None:
    while not stop.is_set():
        try:
            rounds.round(stop.is_set)
        except (QAEngineError, OSError) as error:
            click.echo(f"Messages: this round failed and will be tried again: {error}", err=True)
        except FAULTS:
            click.echo(f"Messages: this round failed:\n{traceback.format_exc()}", err=True)
        stop.wait(every_s)
