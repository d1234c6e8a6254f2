"""Prints what the engine can do, in one run: every figure beside the goal it is held against.

``.venv/bin/python tests/bench/measure.py [--records N] [--large] [--only NAME]``. Nothing here
asserts a time; that the engine and the hand-written code find the same is asserted.
"""

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from statistics import median

from by_hand import Outcome, inspect_by_hand
from conditions_alone import conditions_alone
from end_to_end import files_of, inspect_apart, inspect_files
from figure import Figure, median_s, say, seconds
from fleet import STARTS, Fleet
from forecast_skill import forecast_skill
from guarded_decision import guarded_decision
from intake_alone import intake_alone
from rich.console import Console
from rich.table import Table
from skill_fleet import World

from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.report import Report
from qa_engine.rulesets import check_examples, read_rule_sets
from qa_engine.subjects import Period

RULES = Path(__file__).with_name("rules.yaml")
DAY_RULES = Path(__file__).with_name("day_rules.yaml")
TIMES = 3
DAYS = 3_652
RULES_READ = 1_000


@dataclass(frozen=True)
class Bench:
    """What this run measures with.

    Attributes:
        folder: where files go.
        records: size of the main comparison.
        large: whether to go up to 10,000,000 records.
    """

    folder: Path
    records: int
    large: bool


def whole(bench: Bench) -> list[Figure]:
    """Measure an inspection from file to file against code written by hand."""
    records, register = files_of(Fleet(bench.records), bench.folder)
    out, by_hand_out = bench.folder / "report.json", bench.folder / "by_hand.jsonl"
    agree(
        inspect_files(records, register, out, [RULES]),
        inspect_by_hand(records, register, by_hand_out),
    )
    ours, hand = [], []
    for _ in range(TIMES):
        ours.append(seconds(lambda: inspect_files(records, register, out, [RULES])))
        hand.append(seconds(lambda: inspect_by_hand(records, register, by_hand_out)))
    shipped_s = median_s(lambda: inspect_files(records, register, out), TIMES)
    ours_s, hand_s = median(ours), median(hand)
    size = f"{bench.records:,} records in Parquet, from file to report"
    return [
        Figure("end to end, 10 rules", f"{ours_s:.2f} s", "", size),
        Figure("by hand, the same", f"{hand_s:.2f} s", "", f"{size}; same counts and findings"),
        Figure("ratio", f"{ours_s / hand_s:.2f} x", "<= 2 x", "medians, runs in turn"),
        Figure("end to end, shipped rules", f"{shipped_s:.2f} s", "", f"{size}, all facts"),
    ]


def agree(report: Report, by_hand: Outcome) -> None:
    """Hold what the engine found against what the hand-written code did."""
    names = ("conforms", "does_not_conform", "undecided")
    coverage = report.inspection.coverage.iter_rows(named=True)
    counts = {row["rule"]: tuple(row[name] for name in names) for row in coverage}
    assert counts == by_hand.counts, (counts, by_hand.counts)
    ours = report.inspection.findings.select("finding", "evidence").sort("finding")
    theirs = by_hand.findings.select("finding", "evidence").sort("finding")
    assert ours.equals(theirs), f"{ours.height} findings against {theirs.height}"


def conditions(bench: Bench) -> list[Figure]:
    """Measure conditions alone."""
    return conditions_alone(RULES)


def guarded(bench: Bench) -> list[Figure]:
    """Measure guarded acceptance against simple acceptance."""
    return guarded_decision()


def intake(bench: Bench) -> list[Figure]:
    """Measure the intake of CSV."""
    records, _ = files_of(Fleet(min(bench.records, 1_000_000)), bench.folder)
    return intake_alone(records, bench.folder)


def growth(bench: Bench) -> list[Figure]:
    """Measure how time grows with size, and memory, in a process per inspection."""
    figures = []
    for half in (100_000, 500_000, *((5_000_000,) if bench.large else ())):
        for name, rules in (("10 rules", [RULES]), ("shipped rules", [])):
            figures += _doubled(bench, half, name, rules)
    return figures


def _doubled(bench: Bench, half: int, name: str, rules: list[Path]) -> list[Figure]:
    times = TIMES if half < 1_000_000 else 1
    say(f"growth: {half:,} and {2 * half:,} records, {name}")
    small_s, _ = inspect_apart(Fleet(half), bench.folder, rules, times)
    great_s, peak_gb = inspect_apart(Fleet(2 * half), bench.folder, rules, times)
    size = f"{2 * half:,} records, {name}"
    goal = "<= 4 GB" if 2 * half == 10_000_000 else ""
    return [
        Figure(
            f"growth to {size}",
            f"{great_s / small_s:.2f} x",
            "< 2.2 x",
            f"time(2n)/time(n) of {great_s:.2f} s and {small_s:.2f} s, {times} processes each",
        ),
        Figure(f"peak memory, {size}", f"{peak_gb:.2f} GB", goal, "maxrss of the process"),
    ]


def days(bench: Bench) -> list[Figure]:
    """Measure 1,000 tanks judged at the end of each day of ten years."""
    fleet = Fleet(250_000, tanks=1_000, days=DAYS)
    records, register = files_of(fleet, bench.folder)
    last = fleet.ends - timedelta(days=1)
    call = lambda rules: inspect_files(  # noqa: E731 - one call, two sets of rules
        records,
        register,
        bench.folder / "days.json",
        rules,
        fleet.ends,
        Period(STARTS.date(), last.date()),
    )
    return [
        Figure(
            f"1,000 tanks x 10 years of days, {name}",
            f"{median_s(lambda rules=rules: call(rules), TIMES):.2f} s",
            goal,
            f"{fleet.records:,} records, {1_000 * DAYS:,} tank-days, from file to report",
        )
        for name, rules, goal in (("4 rules", [DAY_RULES], "<= 10 s"), ("shipped rules", [], ""))
    ]


def rules(bench: Bench) -> list[Figure]:
    """Measure reading 1,000 rules and judging their examples."""
    catalogue = Catalogue.of(ENGINE_FACTS)
    head, *texts = RULES.read_text().split("  - rule: ")
    copies = -(-RULES_READ // len(texts))
    sources = [
        (
            f"set{n}.yaml",
            "  - rule: ".join([head.replace(": bench", f": bench-{n}"), *texts]).encode(),
        )
        for n in range(copies)
    ]

    def read_and_check() -> None:
        problems = check_examples(read_rule_sets(sources, catalogue), catalogue)
        assert not problems, problems

    taken_s = median_s(read_and_check, TIMES)
    how = f"{copies * len(texts):,} rules in {copies} files, with their examples"
    return [Figure("reading and checking 1,000 rules", f"{taken_s:.2f} s", "<= 1 s", how)]


def skill(bench: Bench) -> list[Figure]:
    """Measure how good the forecasts of rinses left are, on a fleet whose truth is known."""
    return forecast_skill(World())


def show_help(bench: Bench) -> list[Figure]:
    """Measure ``qa-engine --help``."""
    program = Path(sys.executable).with_name("qa-engine")
    call = lambda: subprocess.run([program, "--help"], check=True, capture_output=True)  # noqa: E731
    taken_s = median_s(call, 7)
    return [Figure("qa-engine --help", f"{taken_s:.2f} s", "<= 0.4 s", "wall time, median of 7")]


MEASURES: dict[str, Callable[[Bench], list[Figure]]] = {
    "whole": whole,
    "conditions": conditions,
    "guarded": guarded,
    "intake": intake,
    "growth": growth,
    "days": days,
    "rules": rules,
    "skill": skill,
    "help": show_help,
}


def main() -> None:
    """Measure what was asked for and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=int, default=1_000_000, help="size of the comparison")
    parser.add_argument("--large", action="store_true", help="go up to 10,000,000 records")
    parser.add_argument("--only", choices=MEASURES, help="measure this only")
    asked = parser.parse_args()
    table = Table("what", "figure", "goal", "how", title="QA engine: figures and goals")
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder), asked.records, asked.large)
        for name in [asked.only] if asked.only else MEASURES:
            say(f"measuring: {name}")
            for figure in MEASURES[name](bench):
                table.add_row(figure.what, figure.got, figure.goal, figure.how)
    Console(width=None if sys.stdout.isatty() else 160).print(table)


if __name__ == "__main__":
    main()
