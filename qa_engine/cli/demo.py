"""``qa-engine demo``: an invented fleet, made, inspected and shown."""

from pathlib import Path

import click

from qa_engine.cli.inspect import report_of, tell_refused
from qa_engine.cli.output import write_report
from qa_engine.cli.rule_files import rule_sources
from qa_engine.demo import WRITTEN, write_demo
from qa_engine.inspection import Assignment
from qa_engine.intake import read_records, read_register

FOLDER = Path("demo-fleet")


@click.command("demo")
@click.argument("folder", default=FOLDER, type=click.Path(path_type=Path))
def command(folder: Path) -> None:
    """Make an invented fleet in FOLDER (by default demo-fleet), inspect it and show the result."""
    _check(folder)
    fleet = write_demo(folder)
    register = read_register(fleet.register)
    intake = read_records(fleet.records, time_zone=None)
    tell_refused(intake, None)
    assignment = Assignment(intake.frames, register, fleet.as_of)
    write_report(report_of(assignment, intake, rule_sources([])), "text", None)
    click.echo(f"\nThe fleet is invented; its files are in {folder}.", err=True)


def _check(folder: Path) -> None:
    """Refuse a folder that holds anything but an earlier demo.

    Raises:
        click.UsageError: it is a file, or somebody's own files would lie among the demo's.
    """
    if folder.exists() and not folder.is_dir():
        raise click.UsageError(f"{folder} is a file; name a folder")
    strangers = sorted({file.name for file in folder.glob("*")} - set(WRITTEN))
    if strangers:
        raise click.UsageError(
            f"{folder} holds files that are not the demo's, such as {strangers[0]}; "
            "name a new or empty folder"
        )
