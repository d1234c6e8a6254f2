"""How long it takes to read and check 1,000 rules, and to score 200; run as a script."""

import re
from importlib.resources import files

from figure import Figure, median_s
from rich.console import Console
from rich.table import Table

from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.plugins import rule_of_thumb
from qa_engine.proof import verify
from qa_engine.rulesets import Edition, read_rule_sets

CATALOGUE = Catalogue.of((*ENGINE_FACTS, *rule_of_thumb.qa_facts()))
SHIPPED = [
    (file.name, file.read_text())
    for file in files("qa_engine.rules").iterdir()
    if file.name.endswith(".yaml")
]
TIMES = 3


def copies(least: int) -> list[tuple[str, bytes]]:
    """Return the shipped rule files so often that they hold at least so many rules."""
    in_one = sum(text.count("  - rule: ") for _, text in SHIPPED)
    return [
        (f"{number}-{name}", re.sub(r"rule_set: (\S+)", rf"rule_set: \1-{number}", text).encode())
        for number in range(-(-least // in_one))
        for name, text in SHIPPED
    ]


def rules_in(editions: tuple[Edition, ...]) -> int:
    """Return how many rules there are."""
    return sum(len(edition.rules) for edition in editions)


def checked() -> Figure:
    """Measure reading and checking 1,000 rules without scores."""
    sources = copies(1000)
    count = rules_in(read_rule_sets(sources, CATALOGUE))
    taken_s = median_s(lambda: verify(read_rule_sets(sources, CATALOGUE), CATALOGUE, None), TIMES)
    how = f"{count:,} rules in {len(sources)} files, median of {TIMES}"
    return Figure("reading and checking 1,000 rules", f"{taken_s:.2f} s", "<= 1 s", how)


def scored() -> Figure:
    """Measure scoring 200 rules and holding them against each other."""
    editions = read_rule_sets(copies(200), CATALOGUE)
    found = verify(editions, CATALOGUE)
    mutants = sum(score.mutants for score in found.scores)
    taken_s = median_s(lambda: verify(editions, CATALOGUE), TIMES)
    how = f"{rules_in(editions)} rules, {mutants:,} mutants, each rule there several times"
    return Figure("scoring 200 rules", f"{taken_s:.2f} s", "<= 30 s", how)


if __name__ == "__main__":
    table = Table("what", "figure", "goal", "how")
    for figure in (checked(), scored()):
        table.add_row(figure.what, figure.got, figure.goal, figure.how)
    Console(width=120).print(table)
