"""How far an import has come: rows, rows a second and the time left, on standard error."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console
from rich.progress import (
    BarColumn,
    Progress,
    SpinnerColumn,
    TaskProgressColumn,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)

Told = Callable[[int, float | None], None]
"""Is told of so many more rows, and of the share of the file that is read if that is known."""


@contextmanager
def import_progress(file: Path) -> Iterator[Told]:
    """Show how far the import of a file has come, if there is a terminal to show it on."""
    console = Console(stderr=True)
    progress = Progress(
        SpinnerColumn(),
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TaskProgressColumn(),
        TextColumn("{task.fields[rows]:,} rows, {task.fields[rate]:,.0f} a second"),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
        console=console,
        disable=not console.is_terminal,
        transient=True,
    )
    with progress:
        task = progress.add_task(file.name, total=None, rows=0, rate=0.0)

        def told(rows: int, share: float | None) -> None:
            one = progress.tasks[0]
            count = one.fields["rows"] + rows
            rate = count / one.elapsed if one.elapsed else 0.0
            total = None if share is None else 1.0
            progress.update(task, completed=share or 0.0, total=total, rows=count, rate=rate)

        yield told
