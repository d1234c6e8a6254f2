"""A measured figure and the goal it stands beside; how times are taken."""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from typing import Any


@dataclass(frozen=True)
class Figure:
    """One line of the table.

    Attributes:
        what: what was measured.
        got: the figure, in words and units.
        goal: what it should reach; empty if it stands there to compare only.
        how: how it was measured.
    """

    what: str
    got: str
    goal: str
    how: str


def seconds(call: Callable[[], Any]) -> float:
    """Return how long a call takes [s]."""
    starts = time.perf_counter()
    call()
    return time.perf_counter() - starts


def median_s(call: Callable[[], Any], times: int) -> float:
    """Return the median time of several calls, one after the other [s]."""
    return median(seconds(call) for _ in range(times))


def say(text: str) -> None:
    """Tell on standard error what is going on."""
    print(text, file=sys.stderr, flush=True)
