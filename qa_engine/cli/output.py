"""Where results go: standard output or a file, as text, JSON or CSV."""

from pathlib import Path

import click
from rich.console import Console

from qa_engine.report import Report
from qa_engine.report.as_csv import csv_report
from qa_engine.report.as_json import json_report
from qa_engine.report.as_text import PIPED_WIDTH, show, text_report

FORMATS = ("text", "json", "csv")


def write_report(report: Report, form: str, out: Path | None) -> None:
    """Write a report to a file or standard output in one of ``FORMATS``."""
    if out is None and form == "text" and (terminal := Console()).is_terminal:
        show(report, terminal)
        return
    writers = {"text": text_report, "json": json_report, "csv": csv_report}
    text = writers[form](report)
    if out is None:
        click.echo(text, nl=False)
    else:
        out.write_text(text, encoding="utf-8", newline="\n")
        click.echo(f"Report written to {out}.", err=True)


def console() -> Console:
    """Return a console for results: coloured on a terminal, plain and of fixed width in a pipe."""
    terminal = Console()
    return terminal if terminal.is_terminal else Console(width=PIPED_WIDTH, no_color=True)
