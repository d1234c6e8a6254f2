"""``qa-engine book adopt``: have a record book judge by rule sets of the house."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from qa_engine.cli.book_options import BOOK, BY, FILE, now
from qa_engine.cli.rules_check import LEAST_SCORE, check_editions

if TYPE_CHECKING:
    from qa_engine.book import Book


@click.command("adopt")
@BOOK
@click.argument("rules", nargs=-1, required=True, type=FILE)
@BY
@click.option(
    "--approved-by",
    required=True,
    metavar="PERSON",
    help="Id of the person who approves it; not the one who enters it.",
)
@LEAST_SCORE
@click.option("--reason", metavar="TEXT", help="Why an edition that was adopted is reworded.")
def adopt(
    book: str,
    rules: tuple[Path, ...],
    by: str,
    approved_by: str,
    least_score: float,
    reason: str | None,
) -> None:
    """Adopt the rule sets in RULES, files or folders, in a record BOOK.

    From then on `inspect BOOK` judges by the rule sets adopted, and by no others, unless --rules
    names some. They are checked first as `rules check` does. An edition that the book has word for
    word adds nothing; one worded otherwise should be a new edition, or needs --reason. One person
    proposes, another approves.

    Exit status: 0, 2 some rule cannot be used as written and nothing was adopted.
    """
    if by.strip().casefold() == approved_by.strip().casefold():
        raise click.UsageError(f"{by} proposes it, so another person must approve it")
    from uuid import uuid4

    from qa_engine.book import Submission, open_book

    written = _written(rules, least_score)
    with open_book(book) as opened:
        taken = _unlike(written, opened.bodies("rule_set"), reason)
        _check_beside(opened, taken)
        bodies = {
            id_: {"text": one.text, "proposed_by": by, "approved_by": approved_by}
            for id_, one in taken.items()
        }
        submission = Submission(uuid4().hex, now(), by, reason=reason)
        opened.put_all("rule_set", bodies, submission)
    for id_ in written:
        click.echo(f"{id_}: {'adopted' if id_ in taken else 'the book has it already'}.")


class Written(NamedTuple):
    """An edition as it is written, and where."""

    source: str
    text: str


def _written(rules: Sequence[Path], least_score: float) -> dict[str, Written]:
    """Return each edition in rule files as ``set/edition``, once all of them are found good.

    Raises:
        RuleSetError: some cannot be used as written.
    """
    from qa_engine.cli.rule_files import rule_sources
    from qa_engine.plugin_host import installed_plugins, open_host

    host = open_host(installed_plugins())
    sources = dict(rule_sources(rules)(host))
    editions = check_editions(sources.items(), host, least_score)
    return {
        f"{one.rule_set}/{one.edition}": Written(one.source, sources[one.source].decode())
        for one in editions
    }


def _unlike(
    written: Mapping[str, Written], standing: Mapping[str, Any], reason: str | None
) -> dict[str, Written]:
    """Return the editions that the book does not have, or has worded otherwise."""
    from qa_engine.book.house import text_of

    held = {id_: text_of(body) for id_, body in standing.items()}
    taken = {id_: one for id_, one in written.items() if held.get(id_) != one.text}
    if (changed := [id_ for id_ in taken if id_ in held]) and not reason:
        raise click.UsageError(
            f"the book has {', '.join(changed)} worded otherwise; give the new wording an edition "
            "of its own, or say with --reason TEXT why that one is reworded"
        )
    return taken


def _check_beside(book: "Book", taken: Mapping[str, Written]) -> None:
    """Find editions that clash with those adopted before.

    Raises:
        RuleSetError: two of a set begin on one day.
    """
    from qa_engine.book.adopting import check_beside
    from qa_engine.book.house import text_of

    held = {id_: text_of(body) for id_, body in book.bodies("rule_set").items()}
    stays = {id_: text for id_, text in held.items() if id_ not in taken}
    check_beside(stays, {one.source: one.text for one in taken.values()})
