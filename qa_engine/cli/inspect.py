"""``qa-engine inspect``: judge service records by rule sets."""

from pathlib import Path

import click

from qa_engine.cli.against import earlier_at
from qa_engine.cli.instants import instant, period
from qa_engine.cli.output import FORMATS, writable, write_report
from qa_engine.cli.permissions_file import permissions_at
from qa_engine.cli.rule_files import RuleChoice, rule_sources
from qa_engine.explanation import inspect_explained
from qa_engine.inspection import Assignment, inspect
from qa_engine.intake import Intake, read_records, read_register, write_refused
from qa_engine.plugin_host import installed_plugins
from qa_engine.report import Report, Tally

SHOWN_REFUSED = 20
EXPLAINED = ("text", "json")
"""The formats that have a place for explanations."""

FILE = click.Path(path_type=Path)


@click.command("inspect")
@click.argument("records", nargs=-1, required=True, type=FILE)
@click.option("--register", required=True, type=FILE, help="Register of vans, tanks, meters...")
@click.option("--rules", multiple=True, type=FILE, help="Rule files or folders, instead of ours.")
@click.option("--as-of", metavar="INSTANT", help="Judge as of this instant; by default, now.")
@click.option("--from", "first", metavar="DATE", help="First day of a period to judge day by day.")
@click.option("--to", "last", metavar="DATE", help="Last day of that period.")
@click.option("--time-zone", metavar="ZONE", help="Zone of times that state no offset.")
@click.option("--permissions", type=FILE, help="Concessions and deviation permits, in YAML.")
@click.option("--against", type=FILE, help="Say what changed since this report kept as JSON.")
@click.option(
    "--refused", type=FILE, callback=writable, help="Write every refused record to this CSV file."
)
@click.option("--format", "form", type=click.Choice(FORMATS), default="text", show_default=True)
@click.option("--explain", is_flag=True, help="Say of each finding what decided it (text, JSON).")
@click.option("--out", type=FILE, callback=writable, help="Write the report to this file.")
def command(
    records: tuple[Path, ...],
    register: Path,
    rules: tuple[Path, ...],
    as_of: str | None,
    first: str | None,
    last: str | None,
    time_zone: str | None,
    permissions: Path | None,
    against: Path | None,
    refused: Path | None,
    form: str,
    explain: bool,
    out: Path | None,
) -> None:
    """Judge service RECORDS (CSV, JSON Lines or Parquet files) by rule sets."""
    if explain and form not in EXPLAINED:
        raise click.UsageError(f"--explain goes with --format text or json, not with {form}")
    known = read_register(register)
    when, days = instant(as_of, time_zone or known.zone.key), period(first, last)
    sources = rule_sources(rules)
    earlier = earlier_at(against, when)
    permitted = permissions_at(permissions, sources, known.zone)
    intake = read_records(records, time_zone=time_zone)
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
    for row in intake.refused.head(SHOWN_REFUSED).iter_rows(named=True):
        click.echo(_refusal(row), err=True)
    if (more := intake.refused.height - SHOWN_REFUSED) > 0:
        click.echo(f"... and {more:,} more; --refused FILE lists them all.", err=True)
    if file is not None:
        write_refused(intake.refused, file)


def _refusal(row: dict[str, object]) -> str:
    written = f"'{row['written']}'" if row["written"] is not None else None
    record = f"record {row['record']}," if row["record"] else None
    parts = (record, row["field"], written, row["expected"])
    return f"{row['source']}:{row['line']}: {' '.join(str(part) for part in parts if part)}"
