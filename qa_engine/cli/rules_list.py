"""``qa-engine rules list``: the rules in force, as a table or as a handbook."""

from collections.abc import Sequence
from datetime import UTC, date, datetime
from pathlib import Path

import click
from marshmallow import ValidationError
from rich.console import Console
from rich.table import Table

from qa_engine.cli.output import console
from qa_engine.cli.rule_files import rule_sources
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.fields import Day
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.report.handbook import handbook_of, in_force_on
from qa_engine.report.handbook_as_html import html_handbook
from qa_engine.report.handbook_as_markdown import markdown_handbook
from qa_engine.rulesets import Edition, read_rule_sets

WRITERS = {"html": html_handbook, "markdown": markdown_handbook}


def _day(ctx: click.Context, param: click.Parameter, written: str | None) -> date:
    if written is None:
        return datetime.now(UTC).astimezone().date()
    try:
        day: date = Day().deserialize(written)
    except ValidationError as error:
        raise click.BadParameter(str(error.messages[0])) from None
    return day


@click.command("list")
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
@click.option("--on", metavar="DATE", callback=_day, help="The day; by default, today.")
@click.option(
    "--format", "form", type=click.Choice(("text", *WRITERS)), default="text", show_default=True
)
@click.option("--out", type=click.Path(path_type=Path), help="Write to this file.")
def list_rules(paths: tuple[Path, ...], on: date, form: str, out: Path | None) -> None:
    """List the rules in force of files or folders; by default, of those that ship.

    As html or markdown it is a handbook to read, print and hang up: each requirement in plain
    words with its limits, what they rest on, what to do, cautions, examples and its history.
    """
    host = open_host(installed_plugins())
    catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
    editions = read_rule_sets(rule_sources(paths)(host), catalogue)
    if form == "text":
        _tables(editions, on, out)
        return
    text = WRITERS[form](handbook_of(editions, on))
    if out is None:
        click.echo(text, nl=False)
    else:
        out.write_text(text, encoding="utf-8", newline="\n")
        click.echo(f"Handbook written to {out}.", err=True)


def _tables(editions: Sequence[Edition], on: date, out: Path | None) -> None:
    """Print the rules in force, a table for each rule set; then which editions are not in force."""
    current = [edition for edition in editions if in_force_on(edition, on)]
    printed: list[Table | str] = [_table(edition) for edition in current]
    if others := [f"{e} ({_force(e)})" for e in editions if e not in current]:
        printed.append(f"Not in force on {on}: {', '.join(others)}.")
    if out is None:
        _print(printed, console())
        return
    with out.open("w", encoding="utf-8", newline="\n") as stream:
        _print(printed, Console(file=stream, width=100, no_color=True))
    click.echo(f"Rules written to {out}.", err=True)


def _print(parts: Sequence[Table | str], to: Console) -> None:
    for part in parts:
        to.print(part, highlight=False, markup=False)


def _force(edition: Edition) -> str:
    until = edition.in_force_until
    return f"{edition.in_force_from} to {until}" if until else f"from {edition.in_force_from}"


def _table(edition: Edition) -> Table:
    table = Table(
        "rule",
        "about",
        "grading",
        "requires",
        "limits",
        title=f"{edition.title}, edition {edition.edition}, in force {_force(edition)}",
        title_justify="left",
        box=None,
        pad_edge=False,
    )
    for rule in edition.rules:
        limits = ", ".join(f"{name} {limit.written}" for name, limit in rule.limits.items())
        table.add_row(rule.rule, rule.subject, rule.grading, rule.requires.text, limits)
    return table
