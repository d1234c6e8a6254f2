"""``qa-engine rules check``: whether rules do what they say, and their examples prove it."""

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime
from pathlib import Path

import click

from qa_engine.cli.rule_files import RuleSources, rule_sources
from qa_engine.errors import RuleSetError
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.intake import read_register
from qa_engine.plugin_host import PluginHost, installed_plugins, open_host
from qa_engine.proof import Score, share, suggestion, too_fine, verify
from qa_engine.rulesets import Edition, read_rule_sets
from qa_engine.rulesets.editions_in_time import edition_notes


def _share(ctx: click.Context, param: click.Parameter, written: str) -> float:
    try:
        percent = float(written.removesuffix("%"))
    except ValueError:
        raise click.BadParameter(f"'{written}' is not a share such as '95 %'") from None
    if not 0 <= percent <= 100:
        raise click.BadParameter(f"'{written}' is not from 0 % to 100 %")
    return percent / 100


LEAST_SCORE = click.option(
    "--least-score",
    metavar="PERCENT",
    default="100 %",
    show_default=True,
    callback=_share,
    help="How much of what a rule does its examples must pin down.",
)


@click.command("check")
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
@LEAST_SCORE
@click.option("--no-scores", is_flag=True, help="Judge the examples, but do not score them.")
@click.option(
    "--register",
    type=click.Path(path_type=Path),
    help="Look for limits finer than the meters of this register show.",
)
def check(
    paths: tuple[Path, ...], least_score: float, no_scores: bool, register: Path | None
) -> None:
    """Check rule files or folders, and judge every example in them; by default, what ships.

    Shows every problem with its place in the file. An unknown fact is an error here even if the
    plugin that would know it failed.

    The examples are scored too: they must notice every mutant of their rule, which is what one slip
    of the pen would make of it (a comparison turned, made strict or loose, a limit moved by one
    step or given another unit, a clause left out...), and show each limit met exactly and missed by
    one step, each clause deciding alone, and each fact missing. What they do not do is listed, each
    time with an example that would.
    """
    known = read_register(register) if register else None
    host = open_host(installed_plugins())
    catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
    editions = read_rule_sets(rule_sources(paths)(host), catalogue)
    verified = verify(editions, catalogue, None if no_scores else least_score)
    if not verified.wrong:
        _tell_examples(editions)
    if verified.scores:
        _tell_scores(verified.scores)
    if verified.problems:
        raise RuleSetError([*verified.problems, *_below(verified.scores, least_score)])
    fine = too_fine(editions, catalogue, known) if known else ()
    for note in (*_notes(verified.scores), *fine, *edition_notes(editions, _today())):
        click.echo(f"note: {note}")


def check_editions(
    sources: RuleSources, host: PluginHost, least_score: float
) -> tuple[Edition, ...]:
    """Return the editions of rule files that pass the check.

    Raises:
        RuleSetError: some do not; ``problems`` holds all that is wrong, with places.
    """
    catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
    editions = read_rule_sets(sources, catalogue)
    verified = verify(editions, catalogue, least_score)
    if verified.problems:
        raise RuleSetError([*verified.problems, *_below(verified.scores, least_score)])
    return editions


def _today() -> date:
    return datetime.now(UTC).date()


def _tell_examples(editions: Sequence[Edition]) -> None:
    rules = [rule for edition in editions for rule in edition.rules]
    examples = sum(len(rule.examples) for rule in rules)
    click.echo(
        f"{len(editions)} rule sets, {len(rules)} rules, {examples} examples: all as written."
    )


def _tell_scores(scores: Sequence[Score]) -> None:
    mutants, cases = sum(one.mutants for one in scores), sum(one.cases for one in scores)
    noticed, shown = sum(one.noticed for one in scores), sum(one.shown for one in scores)
    click.echo(
        f"The examples notice {noticed} of {mutants} mutants and show {shown} of {cases} cases: "
        f"{_percent(share(scores))}."
    )


def _below(scores: Sequence[Score], least: float) -> Iterator[str]:
    """Yield what would lift the scores that are too low, and a sentence that names their rules."""
    low = [one for one in scores if one.share < least]
    yield from map(suggestion, low)
    if told := ", ".join(map(_told, low)):
        yield f"Each rule's examples must score {_percent(least)} (--least-score). Below: {told}."


def _notes(scores: Sequence[Score]) -> Iterator[str]:
    for one in scores:
        if one.share < 1:
            yield f"{_told(one)}; with --least-score 100 what its examples lack is listed"


def _told(score: Score) -> str:
    done, asked = score.noticed + score.shown, score.mutants + score.cases
    return f"{score.rule.rule} {_percent(score.share)} ({done} of {asked})"


def _percent(share: float) -> str:
    """Return a share in percent, rounded down so that 100 % means all."""
    return f"{int(share * 1000 + 1e-9) / 10:g} %"
