"""``qa-engine inspect``: judge service records by rule sets."""

from pathlib import Path

import click
import polars as pl

from qa_engine.cli.against import earlier_at
from qa_engine.cli.column_maps import MAP, map_from
from qa_engine.cli.given import RECORDS, Given, records_from, register_from, rules_from
from qa_engine.cli.instants import instant, known_then, period
from qa_engine.cli.output import FORMATS, writable, write_report
from qa_engine.cli.permissions_file import permissions_at
from qa_engine.cli.rule_files import RuleChoice
from qa_engine.explanation import inspect_explained
from qa_engine.inspection import Assignment, inspect
from qa_engine.intake import Intake, place_of, write_refused
from qa_engine.plugin_host import installed_plugins
from qa_engine.report import Report, Tally

SHOWN_REFUSED = 20
EXPLAINED = ("text", "json")
"""The formats that have a place for explanations."""

FILE = click.Path(path_type=Path)


@click.command("inspect")
@click.argument("records", nargs=-1, required=True, type=RECORDS)
@click.option("--register", type=FILE, help="Register of vans, tanks... A book has its own.")
@click.option("--rules", multiple=True, type=FILE, help="Rule files or folders, instead of ours.")
@click.option("--as-of", metavar="INSTANT", help="Judge as of this instant; by default, now.")
@click.option("--from", "first", metavar="DATE", help="First day of a period to judge day by day.")
@click.option("--to", "last", metavar="DATE", help="Last day of that period.")
@click.option(
    "--known-at",
    metavar="INSTANT",
    help="Judge by what the record book knew at this instant; as of it, without --as-of.",
)
@click.option("--time-zone", metavar="ZONE", help="Zone of times that state no offset.")
@MAP
@click.option("--permissions", type=FILE, help="Concessions and deviation permits, in YAML.")
@click.option("--against", type=FILE, help="Say what changed since this report kept as JSON.")
@click.option(
    "--refused", type=FILE, callback=writable, help="Write every refused record to this CSV file."
)
@click.option("--format", "form", type=click.Choice(FORMATS), default="text", show_default=True)
@click.option("--explain", is_flag=True, help="Say of each finding what decided it (text, JSON).")
@click.option("--out", type=FILE, callback=writable, help="Write the report to this file.")
def command(
    records: tuple[Given, ...],
    register: Path | None,
    rules: tuple[Path, ...],
    as_of: str | None,
    first: str | None,
    last: str | None,
    known_at: str | None,
    time_zone: str | None,
    column_map: Path | None,
    permissions: Path | None,
    against: Path | None,
    refused: Path | None,
    form: str,
    explain: bool,
    out: Path | None,
) -> None:
    """Judge service RECORDS (CSV, JSON Lines, Parquet, XLSX, or a record book) by rule sets."""
    if explain and form not in EXPLAINED:
        raise click.UsageError(f"--explain goes with --format text or json, not with {form}")
    then = known_then(known_at, time_zone)
    known = register_from(register, records, then)
    when, days = instant(as_of or known_at, time_zone or known.zone.key), period(first, last)
    sources = rules_from(rules, records, then)
    earlier = earlier_at(against, when)
    permitted = permissions_at(permissions, sources, known.zone, records, then)
    mapped = map_from(column_map)
    intake = records_from(records, time_zone=time_zone, known_at=then, column_map=mapped)
    tell_refused(intake, refused)
    assignment = Assignment(
        intake.frames, known, when, days, permissions=permitted, earlier=earlier
    )
    report = report_of(assignment, intake, sources, explain=explain)
    write_report(report, form, out)
    raise SystemExit(report.exit_status)


def report_of(
    assignment: Assignment, intake: Intake, sources: RuleChoice, *, explain: bool = False
) -> Report:
    """Return the report of an inspection, with what became of the rows that were read."""
    tally = Tally(intake.read, intake.refused_rows, intake.repeated, intake.notes)
    if explain:
        inspection, explained = inspect_explained(assignment, installed_plugins(), sources)
        return Report(inspection, tally, explained)
    return Report(inspect(assignment, installed_plugins(), sources), tally)


def tell_refused(intake: Intake, file: Path | None) -> None:
    """Say which records were refused: the first on standard error, all of them in a file."""
    show_refused(intake.refused)
    if file is not None:
        write_refused(intake.refused, file)


def show_refused(refused: pl.DataFrame) -> None:
    """Say on standard error which records were refused, or the first of very many."""
    for row in refused.head(SHOWN_REFUSED).iter_rows(named=True):
        click.echo(_refusal(row), err=True)
    if (more := refused.height - SHOWN_REFUSED) > 0:
        click.echo(f"... and {more:,} more; --refused FILE lists them all.", err=True)


def _refusal(row: dict[str, object]) -> str:
    written = f"'{row['written']}'" if row["written"] is not None else None
    record = f"record {row['record']}," if row["record"] else None
    parts = (record, row["field"], written, row["expected"])
    return f"{place_of(row)}: {' '.join(str(part) for part in parts if part)}"
