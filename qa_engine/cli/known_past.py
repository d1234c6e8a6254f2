"""What a command needs of records, register and models: the past up to an instant."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import TypeVar

import click
import polars as pl

from qa_engine.facts.past import Past
from qa_engine.history import History
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.register import Register

Answer = TypeVar("Answer")

PLUGIN_FAILED = 3
"""Exit status when a plugin failed, so that what it could have said is missing."""


def with_past(
    frames: Mapping[str, pl.DataFrame],
    register: Register,
    as_of: datetime,
    work: Callable[[Past], Answer],
) -> tuple[Answer, int]:
    """Return what some work on the past comes to, and the exit status.

    It is done again without each plugin that fails during it, so that no answer hangs on where it
    failed; each is named on standard error.

    Args:
        frames: the accepted records, a frame per kind.
        register: the operator's register.
        as_of: later records are not used.
        work: what to do; asks the models.
    """
    known = {kind: frame.filter(pl.col("at") <= as_of) for kind, frame in frames.items()}
    history = History.of_records(known, register)
    failed: dict[str, str] = {}
    while True:
        host = open_host(installed_plugins(), failed)
        at_start = dict(host.wall.failures)
        answer = work(Past(history, host.models, as_of, not at_start))
        if host.wall.failures == at_start:
            break
        failed = dict(host.wall.failures)
    for name, reason in at_start.items():
        click.echo(f"Plugin '{name}' failed ({reason}).", err=True)
    return answer, PLUGIN_FAILED if at_start else 0
