"""``qa-engine rules explain``: why a finding is one."""

from pathlib import Path

import click

from qa_engine.cli.given import RECORDS, Given, records_from, register_from, rules_from
from qa_engine.cli.inspect import tell_refused
from qa_engine.cli.instants import instant
from qa_engine.cli.permissions_file import permissions_at
from qa_engine.explanation import explain_finding
from qa_engine.explanation.as_json import explanation_json
from qa_engine.explanation.as_text import explanation_text
from qa_engine.inspection import Assignment
from qa_engine.plugin_host import installed_plugins
from qa_engine.report.outcome import INCOMPLETE

FILE = click.Path(path_type=Path)


@click.command("explain")
@click.argument("finding")
@click.argument("records", nargs=-1, required=True, type=RECORDS)
@click.option("--register", type=FILE, help="Register of vans, tanks... A book has its own.")
@click.option("--rules", multiple=True, type=FILE, help="Rule files or folders, instead of ours.")
@click.option("--as-of", metavar="INSTANT", help="Judge as of this instant; by default, now.")
@click.option("--time-zone", metavar="ZONE", help="Zone of times that state no offset.")
@click.option("--permissions", type=FILE, help="Concessions and deviation permits, in YAML.")
@click.option(
    "--format", "form", type=click.Choice(("text", "json")), default="text", show_default=True
)
def explain(
    finding: str,
    records: tuple[Given, ...],
    register: Path | None,
    rules: tuple[Path, ...],
    as_of: str | None,
    time_zone: str | None,
    permissions: Path | None,
    form: str,
) -> None:
    """Say why FINDING is one: what was compared with what, and on which RECORDS it rests.

    FINDING is its name in a report, RULE_SET/RULE/SUBJECT_KIND/SUBJECT, such as
    rinse-water/outlet-below-stop-limit/reading/R-17; any verdict can be named so, also one that
    conforms. Give the records, the register, the rules, the permissions and the instant of the
    report. For what was undecided it says what was looked for, and what would settle it.

    Exit status: 3 if a plugin failed, so that an undecided verdict may be due to that.
    """
    known = register_from(register, records)
    when = instant(as_of, time_zone or known.zone.key)
    sources = rules_from(rules, records)
    permitted = permissions_at(permissions, sources, known.zone, records)
    intake = records_from(records, time_zone=time_zone)
    tell_refused(intake, None)
    task = Assignment(intake.frames, known, when, permissions=permitted)
    explained = explain_finding(finding, task, installed_plugins(), sources)
    text = (
        explanation_text(explained, known.zone) if form == "text" else explanation_json(explained)
    )
    click.echo(text, nl=False)
    raise SystemExit(INCOMPLETE if explained.failed else 0)
