"""The jobs that settle findings: one resin change, one visit of the competent person, worst first.

A job is what one place needs of one kind of work; the findings that it settles stand under it.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from qa_engine.findings import GRADINGS
from qa_engine.report.places import place
from qa_engine.rulesets import Edition, Rule

RuleKey = tuple[str, str, str]


@dataclass(frozen=True)
class Job:
    """What one place needs done.

    Attributes:
        place: where, for reading, such as ``van Heron, tank K2``.
        van: the van, or None.
        tank: the tank, or None.
        work: the kind of record that logs the work, or None where no one kind settles it.
        grading: the worst among the findings.
        corrections: what to do, worst first.
        cautions: what to mind while doing it.
        findings: the findings that it settles, rows of ``qa_engine.findings.SCHEMA``, worst first.
    """

    place: str
    van: str | None
    tank: str | None
    work: str | None
    grading: str
    corrections: tuple[str, ...]
    cautions: tuple[str, ...]
    findings: tuple[Mapping[str, Any], ...]


def jobs_of(findings: pl.DataFrame, editions: Iterable[Edition]) -> list[Job]:
    """Return the jobs that findings ask for, worst first, then in the order of the findings.

    Args:
        findings: those that stand and do not conform, as ``qa_engine.findings.SCHEMA``.
        editions: the rule sets that judged.
    """
    rules = {
        (edition.rule_set, rule.rule, edition.edition): rule
        for edition in editions
        for rule in edition.rules
    }
    work = [_work(rules, row) for row in findings.select("rule_set", "rule", "edition").rows()]
    parts = findings.with_columns(place().alias("place"), pl.Series("work", work, pl.String))
    jobs = [_job(part) for part in _parted(parts)]
    return sorted(jobs, key=lambda job: GRADINGS.index(job.grading))


def _work(rules: Mapping[RuleKey, Rule], key: RuleKey) -> str | None:
    rule = rules.get(key)
    return rule.settled_by if rule else None


def _parted(findings: pl.DataFrame) -> Iterator[pl.DataFrame]:
    yield from findings.partition_by("place", "work", maintain_order=True)


def _job(part: pl.DataFrame) -> Job:
    rows = sorted(part.to_dicts(), key=lambda row: GRADINGS.index(row["grading"]))
    first = rows[0]
    return Job(
        place=first["place"],
        van=first["van"],
        tank=first["tank"],
        work=first["work"],
        grading=first["grading"],
        corrections=_each(row["correction"] for row in rows),
        cautions=_each(row["caution"] for row in rows),
        findings=tuple(rows),
    )


def _each(texts: Iterable[str | None]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for text in texts if text))
