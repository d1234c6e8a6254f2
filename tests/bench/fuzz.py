"""Feeds hostile rule files and conditions to the engine and counts what becomes of them.

``.venv/bin/python tests/bench/fuzz.py [--inputs 100000] [--seed 1]``. Exit status 1 if anything
but an error of the engine was raised, or an input took longer than a second.
"""

import argparse
import sys
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from random import Random

from hostile import FILES, condition_at_random
from trial import conditions_tried, file_tried

LONGEST_S = 1.0
TRIED_AGAIN = 3
"""A slow input is measured again so often: the machine may have been busy with something else."""


@dataclass
class Account:
    """What became of the inputs of one kind.

    Attributes:
        ends: how often each end was met: accepted, refused, foreign.
        slowest_s: the longest that one took.
        foreign: the first traceback of each kind of foreign exception, with the input.
    """

    ends: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0
    slowest: object = None
    foreign: dict[str, tuple[str, object]] = field(default_factory=dict)

    def take(self, trial: Callable[[object], str], given: object) -> None:
        """Try one input and note how it ended."""
        begun = time.perf_counter()
        try:
            end = trial(given)
        except Exception as error:
            end = "foreign"
            place = traceback.extract_tb(error.__traceback__)[-1]
            key = f"{type(error).__name__} at {place.filename}:{place.lineno}"
            self.foreign.setdefault(key, (traceback.format_exc(limit=-4), given))
        took_s = time.perf_counter() - begun
        if took_s > self.slowest_s:
            took_s = min(took_s, *(again_s(trial, given) for _ in range(TRIED_AGAIN)))
        if took_s > self.slowest_s:
            self.slowest_s, self.slowest = took_s, given
        self.ends[end] += 1


def again_s(trial: Callable[[object], str], given: object) -> float:
    """Return how long an input takes when it is tried again."""
    begun = time.perf_counter()
    with suppress(Exception):  # it has been counted
        trial(given)
    return time.perf_counter() - begun


def main() -> int:
    """Run the trial and print its account."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    warnings.simplefilter("error")
    chance = Random(asked.seed)
    accounts: dict[str, Account] = {}
    for number in range(asked.inputs):
        if number % 2:
            make: Callable[[Random], object] = chance.choice(FILES)
            accounts.setdefault(make.__name__, Account()).take(file_tried, make(chance))
        else:
            account = accounts.setdefault("condition_at_random", Account())
            account.take(conditions_tried, condition_at_random(chance))
    for name, account in sorted(accounts.items()):
        ends = ", ".join(f"{count:,} {end}" for end, count in sorted(account.ends.items()))
        print(f"{name}: {ends}; slowest {account.slowest_s * 1000:.0f} ms")
        for key, (trace, given) in account.foreign.items():
            print(f"  {key}\n{trace}\n  input: {given!r}")
        if account.slowest_s > LONGEST_S:
            print(f"  slowest input: {account.slowest!r}")
    bad = any(a.foreign or a.slowest_s > LONGEST_S for a in accounts.values())
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
