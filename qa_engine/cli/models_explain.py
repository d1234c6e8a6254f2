"""``qa-engine models explain``: where a prediction of a tank comes from."""

from pathlib import Path

import click

from qa_engine.cli.given import RECORDS, Given, records_from, register_from
from qa_engine.cli.inspect import tell_refused
from qa_engine.cli.instants import instant
from qa_engine.cli.known_past import with_past

FILE = click.Path(path_type=Path)


@click.command("explain")
@click.argument("tank")
@click.argument("records", nargs=-1, required=True, type=RECORDS)
@click.option("--register", type=FILE, help="Register of vans, tanks... A book has its own.")
@click.option("--as-of", metavar="INSTANT", help="As believed at this instant; by default, now.")
@click.option("--time-zone", metavar="ZONE", help="Zone of times that state no offset.")
@click.option(
    "--format", "form", type=click.Choice(("text", "json")), default="text", show_default=True
)
def explain(
    tank: str,
    records: tuple[Given, ...],
    register: Path | None,
    as_of: str | None,
    time_zone: str | None,
    form: str,
) -> None:
    """Say where the prediction of TANK comes from, by the RECORDS up to an instant.

    It tells the water and what a litre of it spends, part by part; what was believed of the charge
    before its readings and by what source; what each outlet reading moved; what is used and left
    now and what the outlet should show, each with its band; which reading would tell most; and
    whether this use lies within what the model is declared for.

    Exit status: 2 if nobody knows the tank, 3 if a plugin failed.
    """
    from qa_engine.belief import told_of
    from qa_engine.belief.as_json import belief_json
    from qa_engine.belief.as_text import belief_text

    known = register_from(register, records)
    when = instant(as_of, time_zone or known.zone.key)
    intake = records_from(records, time_zone=time_zone)
    tell_refused(intake, None)
    told, status = with_past(intake.frames, known, when, lambda past: told_of(past, tank))
    click.echo(belief_text(told, known.zone) if form == "text" else belief_json(told), nl=False)
    raise SystemExit(status)
