"""Watches what a model does while it answers: what it calls, and how many steps it takes."""

import gc
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

ASIDE = {
    "time": "the clock",
    "io": "a file",
    "_io": "a file",
    "posix": "the operating system",
    "nt": "the operating system",
    "_socket": "the network",
    "_random": "chance",
}
"""Modules written in C by which an answer could depend on more than its arguments."""

CLOCKS = ("datetime.now", "datetime.utcnow", "datetime.today", "date.today")
DICE = "Random."


def calls_aside(call: Callable[[], object]) -> tuple[str, ...]:
    """Return what a call asked besides its arguments, such as ``the clock (time.time)``."""
    seen: dict[str, None] = {}

    def note(frame: FrameType, event: str, called: Any) -> None:
        if event == "c_call" and (aside := _aside(called)):
            seen.setdefault(aside)

    before = sys.getprofile()
    with _no_clearing_up():
        sys.setprofile(note)
        try:
            call()
        finally:
            sys.setprofile(before)
    return tuple(seen)


def _aside(called: Any) -> str | None:
    module, name = getattr(called, "__module__", None), getattr(called, "__qualname__", "")
    if module in ASIDE:
        return f"{ASIDE[module]} ({module}.{name})"
    if name in CLOCKS:
        return f"the clock ({name})"
    return f"chance ({name})" if name.startswith(DICE) else None


def steps_of(call: Callable[[], object]) -> int:
    """Return how many lines of Python a call runs, those of all functions it calls included."""
    steps = 0

    def note(frame: FrameType, event: str, _: Any) -> Any:
        nonlocal steps
        steps += 1
        return note

    before = sys.gettrace()
    with _no_clearing_up():
        sys.settrace(note)
        try:
            call()
        finally:
            sys.settrace(before)
    return steps


@contextmanager
def _no_clearing_up() -> Iterator[None]:
    """Put off the collection of garbage, whose callbacks would be held against the model."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
