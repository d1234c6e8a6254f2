"""``qa-engine rules``: check rule sets and list them."""

from pathlib import Path

import click
from rich.table import Table

from qa_engine.cli.output import console
from qa_engine.cli.rule_files import rule_sources
from qa_engine.errors import RuleSetError
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.rulesets import Edition, check_examples, read_rule_sets

PATHS = click.argument("paths", nargs=-1, type=click.Path(path_type=Path))


@click.group("rules")
def command() -> None:
    """Check and list rule sets."""


@command.command("check")
@PATHS
def check(paths: tuple[Path, ...]) -> None:
    """Check rule files or folders, and judge every example in them; by default, what ships.

    Shows every problem with its place in the file. An unknown fact is an error here even if the
    plugin that would know it failed.
    """
    editions, catalogue = _read(paths)
    if problems := check_examples(editions, catalogue):
        raise RuleSetError(problems)
    rules = [rule for edition in editions for rule in edition.rules]
    examples = sum(len(rule.examples) for rule in rules)
    click.echo(
        f"{len(editions)} rule sets, {len(rules)} rules, {examples} examples: all as written."
    )


@command.command("list")
@PATHS
def list_rules(paths: tuple[Path, ...]) -> None:
    """List the rules of files or folders; by default, those that ship."""
    out = console()
    for edition in _read(paths)[0]:
        out.print(_table(edition))


def _read(paths: tuple[Path, ...]) -> tuple[tuple[Edition, ...], Catalogue]:
    host = open_host(installed_plugins())
    catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
    return read_rule_sets(rule_sources(paths)(host), catalogue), catalogue


def _table(edition: Edition) -> Table:
    title = f"{edition.title}, edition {edition.edition}, in force from {edition.in_force_from}"
    table = Table(
        "rule",
        "about",
        "grading",
        "requires",
        "limits",
        title=title,
        title_justify="left",
        box=None,
        pad_edge=False,
    )
    for rule in edition.rules:
        limits = ", ".join(f"{name} {limit.written}" for name, limit in rule.limits.items())
        table.add_row(rule.rule, rule.subject, rule.grading, rule.requires.text, limits)
    return table
