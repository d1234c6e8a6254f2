"""``qa-engine book act`` and ``actions``: who answers which findings, with what and by when."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

import click

from qa_engine.cli.book_options import BOOK, BY, FILE, now

if TYPE_CHECKING:
    from qa_engine.book import Book
    from qa_engine.book.actions import Action
    from qa_engine.book.canonical import Submission
    from qa_engine.book.lookout import FleetState

RULES = click.option(
    "--rules", multiple=True, type=FILE, help="Rule files, instead of the book's own."
)
ONE_ACT = "say one of: --what with --who and --until, --note, --done, --withdraw"


@dataclass(frozen=True)
class Said:
    """What was said of an action on the command line; None where nothing was."""

    what: str | None
    who: str | None
    until: str | None
    note: str | None
    done: str | None
    on: str | None
    withdraw: str | None

    def check(self) -> None:
        """Refuse what says two things at once, or nothing.

        Raises:
            click.UsageError: it does.
        """
        ends = [one for one in (self.done, self.withdraw) if one is not None]
        plans = any(one is not None for one in (self.what, self.who, self.until))
        if len(ends) + plans > 1 or (ends and self.note) or not (ends or plans or self.note):
            raise click.UsageError(ONE_ACT)
        if self.on is not None and self.done is None:
            raise click.UsageError("--on is the day that --done speaks of")


@click.command("act")
@BOOK
@click.argument("action", required=False)
@BY
@click.option("--finding", "findings", multiple=True, metavar="ID", help="A finding it answers.")
@click.option("--what", metavar="TEXT", help="What will be done.")
@click.option("--who", metavar="PERSON", help="Id of the person who will do it.")
@click.option("--until", metavar="DAY", help="By when, as YYYY-MM-DD.")
@click.option("--note", metavar="TEXT", help="A note: alone, or with --what.")
@click.option("--done", metavar="TEXT", help="What was done: ends ACTION.")
@click.option("--on", metavar="DAY", help="The day it was done; by default, today.")
@click.option("--withdraw", metavar="REASON", help="Why ACTION will not be done: ends it.")
@RULES
def act(
    book: str,
    action: str | None,
    by: str,
    findings: tuple[str, ...],
    rules: tuple[Path, ...],
    what: str | None,
    who: str | None,
    until: str | None,
    note: str | None,
    done: str | None,
    on: str | None,
    withdraw: str | None,
) -> None:
    """Keep in a record BOOK who does what about findings, and what became of it.

    With --finding, and --what, --who and --until or but a --note: a new action. With ACTION, the
    id of one: assign it anew, add a --note, or end it with --done or --withdraw. An action changes
    no verdict: a finding goes away only when records settle it.

    Exit status: 0, 2 something is missing or wrong and nothing was added.
    """
    from qa_engine.book import Submission, open_book

    said = Said(what, who, until, note, done, on, withdraw)
    said.check()
    if bool(findings) == (action is not None):
        raise click.UsageError("name the findings of a new action, or the id of an old one")
    submission = Submission(uuid4().hex, now(), by, None, None)
    with open_book(book) as opened:
        if action is None:
            _check_findings(opened, findings, rules)
            action = _begin(opened, findings, said, submission)
        else:
            _go_on(opened, action, said, submission)
        told = next(one for one in _actions(opened, None) if one.action == action)
    click.echo(f"{action}: {_in_words(told)}")


def _check_findings(book: "Book", findings: Sequence[str], rules: Sequence[Path]) -> None:
    from qa_engine.errors import nearest

    known = _state_of(book, rules).findings["finding"].unique().sort().to_list()
    for one in findings:
        if one not in known:
            hint = nearest(one, known) or "'qa-engine inspect BOOK --format csv' lists all"
            raise click.UsageError(f"there is no finding '{one}'; {hint}")


def _state_of(book: "Book", rules: Sequence[Path]) -> "FleetState":
    from qa_engine.book.lookout import Lookout
    from qa_engine.cli.given import rules_of
    from qa_engine.plugin_host import installed_plugins

    return Lookout(book, installed_plugins(), rules_of(book, rules)).state(now())


def _begin(book: "Book", findings: Sequence[str], said: Said, submission: "Submission") -> str:
    from qa_engine.book.acting import Plan, assign, note_on

    if said.done is not None or said.withdraw is not None:
        raise click.UsageError("name the action that ends: qa-engine book act BOOK ACTION")
    if said.what is said.who is said.until is None:
        return note_on(book, findings, said.note or "", submission)
    plan = Plan(said.what or "", said.who or "", said.until or "")
    return assign(book, findings, plan, submission, said.note or "")


def _go_on(book: "Book", action: str, said: Said, submission: "Submission") -> None:
    from qa_engine.book.acting import Plan, add_note, change, report_done, today_of, withdraw

    found = next((one for one in _actions(book, None) if one.action == action), None)
    seen = found.entry if found else 0
    if said.done is not None:
        on = said.on or today_of(book, submission.entered_at).isoformat()
        report_done(book, action, seen, on, said.done, submission)
    elif said.withdraw is not None:
        withdraw(book, action, seen, said.withdraw, submission)
    elif said.what is said.who is said.until is None:
        add_note(book, action, said.note or "", submission)
    else:
        until = found.until.isoformat() if found and found.until else ""
        plan = Plan(
            said.what or (found and found.what) or "",
            said.who or (found and found.who) or "",
            said.until or until,
        )
        if said.note:
            raise click.UsageError("assign it anew first, then add the note")
        change(book, action, seen, plan, submission)


def _actions(book: "Book", known_at: datetime | None) -> tuple["Action", ...]:
    from qa_engine.book.actions import actions_in

    return actions_in(book, known_at)


@click.command("actions")
@BOOK
@click.option("--state", "wanted", metavar="STATE", help="Only those that stand so.")
@RULES
def actions(book: str, wanted: str | None, rules: tuple[Path, ...]) -> None:
    """List the actions of a record BOOK, those first that want looking at.

    Each with how it stands: overdue (its day has passed and the finding stands); done, but the
    finding stands; to do; noted; settled by records; done; withdrawn.

    Exit status: 0, 2 the book or the rules cannot be used.
    """
    from qa_engine.book import open_book
    from qa_engine.book.acting import today_of
    from qa_engine.book.actions import SETTLES_NOTHING, STATES

    if wanted is not None and wanted not in STATES:
        raise click.UsageError(f"no such state '{wanted}'; one of: {'; '.join(STATES)}")
    with open_book(book) as opened:
        state, today = _state_of(opened, rules), today_of(opened, now())
        standing = frozenset(state.findings.filter("stands")["finding"])
        found = [(one.state(standing, today), one) for one in _actions(opened, None)]
    found = [(how, one) for how, one in found if wanted in (None, how)]
    for how, one in sorted(found, key=lambda pair: (STATES.index(pair[0]), pair[1].action)):
        click.echo(f"{one.action}  {how}: {_in_words(one)}")
        for finding in one.findings:
            click.echo(f"    {finding}{' (stands)' if finding in standing else ''}")
    click.echo(SETTLES_NOTHING if found else "There is no such action.")


def _in_words(one: "Action") -> str:
    """Return in a line what an action says."""
    if one.withdrawn:
        return f"withdrawn by {one.withdrawn.by} ({_line(one.withdrawn.reason)})"
    if one.done:
        return f"done on {one.done.on} by {one.done.by}: {_line(one.done.what)}"
    if one.what:
        return f"{one.who} by {one.until}: {_line(one.what)}"
    return f"noted by {one.notes[-1].by}: {_line(one.notes[-1].text)}"


def _line(text: str) -> str:
    from qa_engine.fields import shown

    return shown(" ".join(text.split()), 200)
