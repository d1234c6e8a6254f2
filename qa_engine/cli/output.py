"""Where results go: standard output or a file, as text, JSON, CSV or SARIF."""

import sys
from collections.abc import Iterable
from pathlib import Path

import click
from rich.console import Console

from qa_engine.report import Report
from qa_engine.report.as_csv import csv_report
from qa_engine.report.as_json import json_pieces
from qa_engine.report.as_sarif import sarif_pieces
from qa_engine.report.as_text import PIPED_WIDTH, show, text_report

FORMATS = ("text", "json", "csv", "sarif")


def writable(ctx: click.Context, option: click.Parameter, path: Path | None) -> Path | None:
    """Return a file to be written, if there is a folder for it; checked before anything is read.

    Raises:
        click.BadParameter: it names a folder, or lies in none.
    """
    if path is None:
        return None
    if path.is_dir():
        raise click.BadParameter(f"{path} is a folder; name a file", ctx, option)
    if not path.parent.is_dir():
        raise click.BadParameter(f"there is no folder {path.parent}; make it first", ctx, option)
    return path


def write_report(report: Report, form: str, out: Path | None) -> None:
    """Write a report to a file or standard output in one of ``FORMATS``."""
    if out is None and form == "text" and (terminal := Console()).is_terminal:
        show(report, terminal)
        return
    pieces = _pieces(report, form)
    if out is None:
        sys.stdout.writelines(pieces)
        return
    with out.open("w", encoding="utf-8", newline="\n") as stream:
        stream.writelines(pieces)
    click.echo(f"Report written to {out}.", err=True)


def _pieces(report: Report, form: str) -> Iterable[str]:
    match form:
        case "json":
            return json_pieces(report)
        case "csv":
            return [csv_report(report)]
        case "sarif":
            return sarif_pieces(report)
    return [text_report(report)]


def console() -> Console:
    """Return a console for results: coloured on a terminal, plain and of fixed width in a pipe."""
    terminal = Console()
    return terminal if terminal.is_terminal else Console(width=PIPED_WIDTH, no_color=True)
