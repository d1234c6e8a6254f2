"""``qa-engine messages``: what bases are told in the morning, and crews when something stops."""

import os
import secrets
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import click

from qa_engine.book import Book, open_book
from qa_engine.book.house import rules_in
from qa_engine.book.lookout import FleetState, Lookout
from qa_engine.cli.book_options import BOOK, FILE, now
from qa_engine.cli.rule_files import offered
from qa_engine.messages import (
    MessageSettings,
    Outbox,
    Rounds,
    morning_message,
    read_settings,
)
from qa_engine.messages.places import Whereabouts
from qa_engine.plugin_host import installed_plugins

SETTINGS = click.option(
    "--messages",
    "file",
    type=FILE,
    required=True,
    metavar="FILE",
    help="YAML file that says where messages go.",
)


@click.group("messages")
def command() -> None:
    """Send bases and crews what they should know, by e-mail and to programs.

    A base gets a message every morning: what must not rinse, what falls due, what to take along. A
    crew gets one when a major finding newly stands at a tank or van.
    """


@command.command("show")
@BOOK
@SETTINGS
def show(book: str, file: Path) -> None:
    """Print this morning's messages of a record BOOK; nothing is sent or queued.

    The passwords that FILE names are not looked up.
    """
    settings = read_settings(file, None)
    with open_book(book) as opened:
        instant = now()
        state = lookout_of(opened).state(instant)
    tell_of_strangers(settings, state)
    day = instant.astimezone(state.register.zone).date()
    for base, channels in settings.bases.items():
        for to in channels:
            message = morning_message(state, base, day, to)
            click.echo(f"To: {to.address}\nSubject: {message.subject}\n\n{message.text}")


@command.command("send")
@BOOK
@SETTINGS
def send(book: str, file: Path) -> None:
    """Do one round for a record BOOK: queue what is due, send what waits.

    For a timer that runs it every few minutes; 'qa-engine serve --messages' needs none. Exit
    status: 0 all that was due is sent, 1 some of it was not taken and waits or was given up.
    """
    settings = read_settings(file, os.environ)
    with open_book(book) as opened:
        lookout = lookout_of(opened)
        tell_of_strangers(settings, lookout.state(now()))
        done = rounds_of(opened, settings, lookout, now).round()
    told = f"{done.sent} sent, {done.waiting} to be tried again, {done.given_up} given up."
    click.echo(told, err=True)
    if done.waiting or done.given_up:
        raise click.exceptions.Exit(1)


def rounds_of(
    book: Book, settings: MessageSettings, lookout: Lookout, clock: Callable[[], datetime]
) -> Rounds:
    """Return what sends the messages of an open book."""
    holder = f"{os.getpid()}-{secrets.token_hex(8)}"
    return Rounds(lookout, Outbox(book), settings, clock, holder)


def lookout_of(book: Book) -> Lookout:
    """Return a lookout for an open book, by its own rules or those that are installed."""
    return Lookout(book, installed_plugins(), lambda host: rules_in(book) or offered(host))


def tell_of_strangers(settings: MessageSettings, state: FleetState) -> None:
    """Say on standard error which places are told nothing, and which nobody knows."""
    for line in _strangers(settings, state):
        click.echo(f"Note: {line}", err=True)


def _strangers(settings: MessageSettings, state: FleetState) -> Iterator[str]:
    bases = Whereabouts(state).bases
    vans = {*state.register.table("vans")["van"], *state.tanks["van"].drop_nulls()}
    for base in sorted(bases - set(settings.bases)):
        yield f"nobody is told of base '{base}'; the settings do not name it."
    for base in sorted(set(settings.bases) - bases):
        yield f"no van or tank is known at base '{base}'; is it written as in the register?"
    for van in sorted(set(settings.vans) - vans):
        yield f"no van '{van}' is known; is it written as in the register?"
