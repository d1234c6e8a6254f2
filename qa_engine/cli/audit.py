"""``qa-engine audit``: what an auditor files."""

import click

from qa_engine.cli.audit_report import report


@click.group("audit")
def command() -> None:
    """Report on a record book: what was judged, found, permitted and corrected, and if it is whole.

    A report records and flags. It approves no vessel: the data plate, local codes and licensed or
    competent persons decide.
    """


command.add_command(report)
