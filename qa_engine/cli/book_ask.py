"""``qa-engine book ask``, ``decide``, ``requests``: what one asks for and another permits."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

import click

from qa_engine.cli.book_options import BOOK, BY, FILE, now

if TYPE_CHECKING:
    from qa_engine.book import Book
    from qa_engine.book.permission_requests import Request
    from qa_engine.book.permitting import Giving

RULES = click.option(
    "--rules", multiple=True, type=FILE, help="Rule files, instead of the book's own."
)
TYPES = click.Choice(("deviation permit", "concession"))


@click.command("ask")
@BOOK
@BY
@click.option("--type", "type_", required=True, type=TYPES, help="Before the event, or after it.")
@click.option(
    "--rule", required=True, metavar="SET/RULE", help="The rule; or a set, for all of it."
)
@click.option("--van", default="", metavar="ID", help="Where; by default, everywhere.")
@click.option("--tank", default="", metavar="ID", help="Where; by default, everywhere.")
@click.option("--from", "begins", required=True, metavar="DAY", help="Its first day, YYYY-MM-DD.")
@click.option("--until", required=True, metavar="DAY", help="Its last day, YYYY-MM-DD.")
@click.option("--reason", required=True, metavar="TEXT", help="Why it is needed.")
@click.option("--finding", "findings", multiple=True, metavar="ID", help="A finding it answers.")
@RULES
def ask_(
    book: str,
    by: str,
    type_: str,
    rule: str,
    van: str,
    tank: str,
    begins: str,
    until: str,
    reason: str,
    findings: tuple[str, ...],
    rules: tuple[Path, ...],
) -> None:
    """Ask in a record BOOK that a rule need not be met for a time.

    It changes no verdict, and counts only once another person has approved it: `book decide`.

    Exit status: 0, 2 no such permission may be given and nothing was added.
    """
    from qa_engine.book import Submission, open_book
    from qa_engine.book.permission_requests import Asked
    from qa_engine.book.permitting import ask

    rule_set, _, one = rule.partition("/")
    asked = Asked(type_, rule_set, one, van, tank, reason, begins, until, findings)
    with open_book(book) as opened:
        submission = Submission(uuid4().hex, now(), by)
        request = ask(opened, asked, _giving(opened, rules), submission)
    click.echo(f"{request}: kept; it counts once another person has approved it.")


@click.command("decide")
@BOOK
@click.argument("request")
@BY
@click.option("--approve", "approves", is_flag=True, help="Give the permission.")
@click.option("--refuse", "why_not", metavar="REASON", help="Do not give it, and say why.")
@click.option("--take-back", "takes_back", is_flag=True, help="Ask no longer: by who asked.")
@RULES
def decide(
    book: str,
    request: str,
    by: str,
    approves: bool,
    why_not: str | None,
    takes_back: bool,
    rules: tuple[Path, ...],
) -> None:
    """Decide on a REQUEST for a permission in a record BOOK; who asked for it cannot approve it.

    Exit status: 0, 2 it cannot be decided so and nothing was added.
    """
    from qa_engine.book import Submission, open_book
    from qa_engine.book.permitting import approve, refuse, take_back

    if approves + (why_not is not None) + takes_back != 1:
        raise click.UsageError("say one of: --approve, --refuse REASON, --take-back")
    with open_book(book) as opened:
        seen = next((one.entry for one in _requests(opened) if one.request == request), 0)
        submission = Submission(uuid4().hex, now(), by)
        if approves:
            approve(opened, request, seen, _giving(opened, rules), submission)
        elif why_not is not None:
            refuse(opened, request, seen, why_not, submission)
        else:
            take_back(opened, request, seen, "", submission)
        told = next(one for one in _requests(opened) if one.request == request)
    click.echo(f"{request}: {told.state}.")


@click.command("requests")
@BOOK
@click.option("--open", "only_open", is_flag=True, help="Only those that wait for a decision.")
def requests(book: str, only_open: bool) -> None:
    """List what permissions were asked for in a record BOOK, and what became of each.

    Exit status: 0, 2 the book cannot be used.
    """
    from qa_engine.book import open_book

    with open_book(book) as opened:
        found = [one for one in _requests(opened) if not (only_open and one.decision)]
    for one in found:
        click.echo(f"{one.request}  {_became(one)}")
        click.echo(f"    {_asks(one)}")
    if not found:
        click.echo("There is no such request.")


def _requests(book: "Book", known_at: datetime | None = None) -> tuple["Request", ...]:
    from qa_engine.book.permission_requests import requests_in

    return requests_in(book, known_at)


def _giving(book: "Book", rules: Sequence[Path]) -> "Giving":
    from qa_engine.book.lookout import Lookout
    from qa_engine.book.permitting import Giving
    from qa_engine.cli.given import rules_of
    from qa_engine.permissions import Circumstances
    from qa_engine.plugin_host import installed_plugins

    instant = now()
    state = Lookout(book, installed_plugins(), rules_of(book, rules)).state(instant)
    return Giving(Circumstances(state.editions, state.register, instant, by_day=False))


def _became(one: "Request") -> str:
    if one.decision is None:
        return "waits for a decision"
    why = f": {_line(one.decision.reason)}" if one.decision.reason else ""
    return f"{one.decision.outcome} by {one.decision.by}, {one.decision.at:%Y-%m-%d}{why}"


def _asks(one: "Request") -> str:
    """Return in a line what is asked."""
    places = [f"{name} {id_}" for name, id_ in (("van", one.van), ("tank", one.tank)) if id_]
    where = " and ".join(places) or "everywhere"
    return (
        f"{one.requested_by}: {one.type} for {one.about}, {where}, {one.begins} to {one.until}: "
        f"{_line(one.reason)}"
    )


def _line(text: str) -> str:
    from qa_engine.fields import shown

    return shown(" ".join(text.split()), 200)
