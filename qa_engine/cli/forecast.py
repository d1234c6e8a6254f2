"""``qa-engine forecast``: by when the resin of each tank must be changed, and what follows."""

import sys
from pathlib import Path

import click
from rich.console import Console

from qa_engine.cli.given import RECORDS, Given, records_from, register_from, rules_from
from qa_engine.cli.inspect import tell_refused
from qa_engine.cli.instants import instant
from qa_engine.cli.output import writable
from qa_engine.cli.rule_files import RuleChoice
from qa_engine.forecast.calendar import calendar_of
from qa_engine.forecast.dates import ASSUMED_RISK
from qa_engine.forecast.forecasting import Wish, forecast_by
from qa_engine.forecast.jobs import bookings_of
from qa_engine.forecast.stock import stock_of
from qa_engine.inspection import Assignment, Course, with_what_works
from qa_engine.intake import Intake, read_jobs
from qa_engine.intake.price_list import read_prices
from qa_engine.plugin_host import installed_plugins
from qa_engine.report import Tally
from qa_engine.report.plan import Plan
from qa_engine.report.plan_as_csv import TABLES, plan_csv
from qa_engine.report.plan_as_json import plan_json
from qa_engine.report.plan_as_text import plan_text, show_plan

FILE = click.Path(path_type=Path)
FORMATS = ("text", "json", "csv")
DAYS = click.IntRange(1, 180)
SHARE = click.FloatRange(0.0, 99.9)


@click.command("forecast")
@click.argument("records", nargs=-1, required=True, type=RECORDS)
@click.option("--register", type=FILE, help="Register of vans, tanks... A book has its own.")
@click.option("--rules", multiple=True, type=FILE, help="Rule files or folders, instead of ours.")
@click.option("--as-of", metavar="INSTANT", help="Look ahead from this instant; by default, now.")
@click.option("--time-zone", metavar="ZONE", help="Zone of times that state no offset.")
@click.option("--days", type=DAYS, default=90, show_default=True, help="How far to look ahead.")
@click.option(
    "--risk",
    type=SHARE,
    metavar="PERCENT",
    help="Risk of reaching the limit before the change. Without it, the one that costs least by "
    f"--prices, else {ASSUMED_RISK * 100:.0f} %, which the report says.",
)
@click.option("--prices", type=FILE, help="What resin, a call-back and a change cost, in YAML.")
@click.option("--jobs", type=FILE, help="Booked jobs: date, van, vehicle_class, count.")
@click.option(
    "--service-level",
    type=SHARE,
    default=95.0,
    show_default=True,
    metavar="PERCENT",
    help="How likely the resin in stock is to suffice.",
)
@click.option("--format", "form", type=click.Choice(FORMATS), default="text", show_default=True)
@click.option(
    "--table",
    type=click.Choice(TABLES),
    help=f"Which table goes to CSV; by default {TABLES[0]}.",
)
@click.option("--out", type=FILE, callback=writable, help="Write the report to this file.")
def command(
    records: tuple[Given, ...],
    register: Path | None,
    rules: tuple[Path, ...],
    as_of: str | None,
    time_zone: str | None,
    days: int,
    risk: float | None,
    prices: Path | None,
    jobs: Path | None,
    service_level: float,
    form: str,
    table: str | None,
    out: Path | None,
) -> None:
    """Say by when the resin of each tank must be changed, from service RECORDS.

    For each tank: when its outlet reaches the limit of the rules in force, litres and vehicles left
    until then, and the day of the change at a risk. Then whether each van gets through its booked
    jobs, the resin to have, and what else falls due at the same place. Nothing is approved: the
    outlet meter and the data plate come first.

    Exit status: 0, or 3 if a plugin failed, records were refused, or no tank is known.
    """
    if table is not None and form != "csv":
        raise click.UsageError(f"--table goes with --format csv, not with {form}")
    known = register_from(register, records)
    when = instant(as_of, time_zone or known.zone.key)
    costs = None if prices is None else read_prices(prices)
    wish = Wish(days, None if risk is None else risk / 100, costs)
    booked = None if jobs is None else read_jobs(jobs, known)
    sources = rules_from(rules, records)
    intake = records_from(records, time_zone=time_zone)
    tell_refused(intake, None)
    plan = plan_of(Assignment(intake.frames, known, when), intake, sources, wish, service_level)
    if booked is not None:
        at_risk = ASSUMED_RISK if wish.risk is None else wish.risk
        plan = plan.with_bookings(bookings_of(plan.forecast, booked, known, at_risk))
    _write(plan, form, table or TABLES[0], out)
    raise SystemExit(plan.exit_status)


def plan_of(
    assignment: Assignment, intake: Intake, sources: RuleChoice, wish: Wish, service_level: float
) -> Plan:
    """Return a forecast with the resin to have and what can be done together."""

    def work(course: Course) -> Plan:
        found, inspection = forecast_by(course, wish), course.run()
        return Plan(
            assignment.register.operator,
            found,
            stock_of(found, service_level / 100),
            calendar_of(found, inspection),
            tally=Tally(intake.read, intake.refused_rows, intake.repeated, intake.notes),
            complete=not inspection.plugins_failed,
        )

    return with_what_works(assignment, installed_plugins(), sources, work)


def _write(plan: Plan, form: str, table: str, out: Path | None) -> None:
    if out is None and form == "text" and (terminal := Console()).is_terminal:
        show_plan(plan, terminal)
        return
    text = _text(plan, form, table)
    if out is None:
        sys.stdout.write(text)
        return
    out.write_text(text, encoding="utf-8", newline="\n")
    click.echo(f"Report written to {out}.", err=True)


def _text(plan: Plan, form: str, table: str) -> str:
    match form:
        case "json":
            return plan_json(plan)
        case "csv":
            return plan_csv(plan, table)
    return plan_text(plan)
