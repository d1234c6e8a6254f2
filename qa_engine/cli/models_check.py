"""``qa-engine models check``: models against their contract, forecasts against what happened."""

from datetime import date
from pathlib import Path

import click
from marshmallow import ValidationError

from qa_engine.cli.given import RECORDS, Given, records_from, register_from
from qa_engine.cli.inspect import tell_refused
from qa_engine.cli.instants import instant
from qa_engine.cli.known_past import with_past
from qa_engine.cli.models_contract import tell_contract
from qa_engine.cli.rule_files import rule_sources
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.fields import Quantity
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.rulesets import read_rule_sets

FILE = click.Path(path_type=Path)


def _limit(ctx: click.Context, option: click.Parameter, written: str | None) -> float | None:
    """Return a limit that a person wrote, such as ``20 mg/L`` [mg/L]."""
    if written is None:
        return None
    try:
        limit: float = Quantity("mg/L", 1.0, 50_000.0).deserialize(written)
    except ValidationError as error:
        raise click.BadParameter(str(error.messages[0]), ctx, option) from None
    return limit


@click.command("check")
@click.argument("records", nargs=-1, type=RECORDS)
@click.option("--history", is_flag=True, help="Score the forecasts on the charges in RECORDS.")
@click.option("--register", type=FILE, help="Register of vans, tanks, meters...")
@click.option("--as-of", metavar="INSTANT", help="Use records up to this instant; by default, now.")
@click.option("--time-zone", metavar="ZONE", help="Zone of times that state no offset.")
@click.option("--rules", multiple=True, type=FILE, help="Rule files or folders, instead of ours.")
@click.option(
    "--limit",
    callback=_limit,
    metavar="TDS",
    help="The outlet that ends a charge, such as '20 mg/L'; by default, that of the rules.",
)
@click.option(
    "--format", "form", type=click.Choice(("text", "json")), default="text", show_default=True
)
def check(
    records: tuple[Given, ...],
    history: bool,
    register: Path | None,
    as_of: str | None,
    time_zone: str | None,
    rules: tuple[Path, ...],
    limit: float | None,
    form: str,
) -> None:
    """Check the loaded models, or with --history how good their forecasts were.

    By itself it tries the laws of the kit for developers on every loaded model: units, bounds,
    monotony, missing and hostile values and more.

    With --history RECORDS... --register FILE it replays your own past: at the readings nearest to
    25, 50, 75 and 90 % of the life of each charge whose outlet reached the limit, it makes the
    forecast of rinses left that could have been made then, without a look at anything later. It
    prints how far off they were, how often their 80 % interval held, and how a rule of thumb would
    have done. Charges that were changed before the limit, or of which too little is on record, are
    counted and named, not scored.

    Exit status: 1 if a model breaks a law, 3 if a plugin failed, whose grades are then left out.
    """
    if not history:
        if records or register:
            raise click.UsageError("records are scored with --history RECORDS... --register FILE")
        raise SystemExit(tell_contract(form))
    if not records:
        raise click.UsageError("--history takes RECORDS... and --register FILE, or a record book")

    from qa_engine.skill import check_history
    from qa_engine.skill.as_json import check_json
    from qa_engine.skill.as_text import check_text

    known = register_from(register, records)
    when = instant(as_of, time_zone or known.zone.key)
    ends_at = limit or _limit_in_force(rules, when.astimezone(known.zone).date())
    intake = records_from(records, time_zone=time_zone)
    tell_refused(intake, None)
    found, status = with_past(intake.frames, known, when, lambda past: check_history(past, ends_at))
    click.echo(check_text(found, known.zone) if form == "text" else check_json(found), nl=False)
    raise SystemExit(status)


def _limit_in_force(rules: tuple[Path, ...], day: date) -> float:
    """Return the outlet at which the rules in force on a day call for a resin change [mg/L].

    Raises:
        click.UsageError: they state none that holds for every reading.
    """
    from qa_engine.forecast.limits import ending_limits, lowest

    host = open_host(installed_plugins())
    catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
    editions = read_rule_sets(rule_sources(rules)(host), catalogue, unknown_names="undecided")
    found = lowest(ending_limits(editions, day), {})
    if found is None:
        raise click.UsageError("no rule in force says at which outlet a charge ends; give --limit")
    return found[0]
