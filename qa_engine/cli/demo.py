"""``qa-engine demo``: an invented fleet, made, inspected and shown."""

import secrets
from datetime import UTC, datetime
from pathlib import Path

import click

from qa_engine.cli.inspect import report_of, tell_refused
from qa_engine.cli.output import write_report
from qa_engine.cli.rule_files import rule_sources
from qa_engine.demo import WRITTEN, DemoFleet, write_demo
from qa_engine.inspection import Assignment
from qa_engine.intake import Intake, read_records, read_register
from qa_engine.register import Register

FOLDER = Path("demo-fleet")
BOOK = "fleet.book"
PORT = 8460
MAKER = "demo"
FICTION = "the invented fleet"


@click.command("demo")
@click.argument("folder", default=FOLDER, type=click.Path(path_type=Path))
@click.option("--serve", "served", is_flag=True, help="Serve the fleet's pages then.")
@click.option("--port", default=PORT, show_default=True, help="Port to serve at.")
def command(folder: Path, served: bool, port: int) -> None:
    """Make an invented fleet in FOLDER (by default demo-fleet), inspect it and show the result.

    With --serve its pages are shown as of the fleet's own last day.
    """
    _check(folder)
    fleet = write_demo(folder)
    register = read_register(fleet.register)
    intake = read_records(fleet.records, time_zone=None)
    tell_refused(intake, None)
    assignment = Assignment(intake.frames, register, fleet.as_of)
    write_report(report_of(assignment, intake, rule_sources([])), "text", None)
    click.echo(f"\nThe fleet is invented; its files are in {folder}.", err=True)
    if served:
        _serve(folder / BOOK, fleet, register, intake, port)


def _serve(file: Path, fleet: DemoFleet, register: Register, intake: Intake, port: int) -> None:
    """Serve a book of the fleet, made anew, with a clock that begins on the fleet's last day."""
    from qa_engine.book import create_book
    from qa_engine.cli.serve import KEY_BYTES, serve

    for left in file.parent.glob(f"{file.name}*"):
        left.unlink()
    behind = datetime.now(UTC) - fleet.as_of
    at, operator, zone = fleet.as_of, register.operator, register.zone.key
    with create_book(
        file, operator=operator, time_zone=zone, entered_at=at, entered_by=MAKER
    ) as book:
        book.put_register(register, key="register", entered_at=at, entered_by=MAKER)
        book.add(intake.frames, key="records", entered_at=at, entered_by=MAKER, source=FICTION)
        key = secrets.token_bytes(KEY_BYTES)
        serve(book, key, "127.0.0.1", port, now=lambda: datetime.now(UTC) - behind)


def _check(folder: Path) -> None:
    """Refuse a folder that holds anything but an earlier demo.

    Raises:
        click.UsageError: it is a file, or somebody's own files would lie among the demo's.
    """
    if folder.exists() and not folder.is_dir():
        raise click.UsageError(f"{folder} is a file; name a folder")
    names = {file.name for file in folder.glob("*") if not file.name.startswith(BOOK)}
    strangers = sorted(names - set(WRITTEN))
    if strangers:
        raise click.UsageError(
            f"{folder} holds files that are not the demo's, such as {strangers[0]}; "
            "name a new or empty folder"
        )
