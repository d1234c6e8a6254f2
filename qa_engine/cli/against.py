"""An earlier report to compare with, as a person names it on the command line."""

from datetime import datetime
from pathlib import Path

import click

from qa_engine.errors import ReportError
from qa_engine.lifecycle import Earlier, earlier_report


def earlier_at(file: Path | None, as_of: datetime) -> Earlier | None:
    """Return the earlier report in a file, if one was named.

    Raises:
        ReportError: the file is not there or is no report.
        click.BadParameter: it is of a later instant than the inspection.
    """
    if file is None:
        return None
    if not file.is_file():
        raise ReportError(f"{file}: no such file; --against takes a report kept as JSON")
    earlier = earlier_report(str(file), file.read_bytes())
    if earlier.as_of > as_of:
        raise click.BadParameter(
            f"{file} is as of {earlier.as_of.isoformat()}, which is later than this inspection",
            param_hint="--against",
        )
    return earlier
