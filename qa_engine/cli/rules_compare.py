"""``qa-engine rules compare``: what new editions would change, before they are adopted."""

from pathlib import Path

import click
from rich.console import Console

from qa_engine.cli.given import RECORDS, Given, records_from, register_from
from qa_engine.cli.inspect import tell_refused
from qa_engine.cli.instants import instant
from qa_engine.cli.permissions_file import permissions_at
from qa_engine.cli.rule_files import rule_sources
from qa_engine.inspection import Assignment
from qa_engine.plugin_host import installed_plugins
from qa_engine.preview import compare
from qa_engine.report import Tally
from qa_engine.report.comparison import Comparison
from qa_engine.report.comparison_as_csv import changes_csv, comparison_csv
from qa_engine.report.comparison_as_json import comparison_json
from qa_engine.report.comparison_as_text import comparison_text, show_comparison

FILE = click.Path(path_type=Path)
FORMATS = ("text", "json", "csv")
WRITERS = {"text": comparison_text, "json": comparison_json, "csv": comparison_csv}


@click.command("compare")
@click.argument("old", type=FILE)
@click.argument("new", type=FILE)
@click.argument("records", nargs=-1, required=True, type=RECORDS)
@click.option("--register", type=FILE, help="Register of vans, tanks... A book has its own.")
@click.option("--as-of", metavar="INSTANT", help="Use records up to this instant; by default, now.")
@click.option("--permissions", type=FILE, help="Concessions and deviation permits, in YAML.")
@click.option("--time-zone", metavar="ZONE", help="Zone of times that state no offset.")
@click.option("--refused", type=FILE, help="Write every refused record to this CSV file.")
@click.option("--changes", type=FILE, help="Write every verdict that changes to this CSV file.")
@click.option("--format", "form", type=click.Choice(FORMATS), default="text", show_default=True)
@click.option("--out", type=FILE, help="Write the comparison to this file.")
def compare_rules(
    old: Path,
    new: Path,
    records: tuple[Given, ...],
    register: Path | None,
    as_of: str | None,
    permissions: Path | None,
    time_zone: str | None,
    refused: Path | None,
    changes: Path | None,
    form: str,
    out: Path | None,
) -> None:
    """Judge RECORDS by the rules in OLD and by those in NEW, and tell what changes.

    OLD and NEW are rule files or folders. A rule set that NEW does not hold goes on as it is.
    Exit status: 0 compared, 2 the call, the register or the rules are wrong, 3 incomplete.
    """
    known = register_from(register, records)
    when = instant(as_of, time_zone or known.zone.key)
    before, after = rule_sources([old]), rule_sources([new])
    intake = records_from(records, time_zone=time_zone)
    tell_refused(intake, refused)
    tally = Tally(intake.read, intake.refused_rows, intake.repeated, intake.notes)
    permitted = permissions_at(permissions, before, known.zone, records)
    task = Assignment(intake.frames, known, when, permissions=permitted)
    comparison = Comparison(compare(task, installed_plugins(), before, after), tally)
    _write(comparison, form, out)
    if changes is not None:
        changes.write_text(changes_csv(comparison), encoding="utf-8", newline="\n")
        click.echo(f"Changes written to {changes}.", err=True)
    raise SystemExit(comparison.exit_status)


def _write(comparison: Comparison, form: str, out: Path | None) -> None:
    if out is not None:
        out.write_text(WRITERS[form](comparison), encoding="utf-8", newline="\n")
        click.echo(f"Comparison written to {out}.", err=True)
    elif form == "text" and (terminal := Console()).is_terminal:
        show_comparison(comparison, terminal)
    else:
        click.echo(WRITERS[form](comparison), nl=False)
