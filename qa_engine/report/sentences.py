"""The sentences that a report begins with, made from the findings."""

from collections.abc import Iterable
from datetime import date, datetime

import polars as pl

from qa_engine.findings import GRADINGS
from qa_engine.report.outcome import Report

NUMBER_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def counted(number: int, noun: str, plural: str = "") -> str:
    """Return a number with its noun in the right form; small numbers as words."""
    word = NUMBER_WORDS[number] if number < len(NUMBER_WORDS) else f"{number:,}"
    return f"{word} {noun if number == 1 else plural or noun + 's'}"


def sentence_case(text: str) -> str:
    """Return a text with a capital first letter, the rest as it is."""
    return text[:1].upper() + text[1:]


def listed(parts: Iterable[str]) -> str:
    """Return parts as a list in prose: ``a, b and c``."""
    *most, last = parts
    return f"{', '.join(most)} and {last}" if most else last


def standing(report: Report) -> pl.DataFrame:
    """Return the findings that still stand and have no permission."""
    findings = report.inspection.findings
    return findings.filter(pl.col("stands") & pl.col("permission").is_null())


def failing(findings: pl.DataFrame) -> pl.DataFrame:
    """Return the findings that do not conform."""
    return findings.filter(pl.col("outcome") == "does not conform")


def undecided(findings: pl.DataFrame) -> pl.DataFrame:
    """Return the findings that could not be decided."""
    return findings.filter(pl.col("outcome") == "undecided")


def headline(report: Report) -> str:
    """Return what the report says, in at most four sentences."""
    now = standing(report)
    found = report.inspection.findings
    under = failing(found.filter(pl.col("stands") & pl.col("permission").is_not_null())).height
    unmet = _unmet(failing(now), under, _when(report))
    sentences = [unmet, _permitted(under), _undecided(undecided(now))]
    return " ".join(text for text in [*sentences, *_incomplete(report)] if text)


def _permitted(under: int) -> str:
    verb = "stands" if under == 1 else "stand"
    return sentence_case(f"{counted(under, 'finding')} {verb} under permission.") if under else ""


def _when(report: Report) -> str:
    """Return the day that a report speaks of, in words."""
    task = report.inspection.assignment
    return f"on {day(task.as_of.astimezone(task.register.zone))}"


def _unmet(now: pl.DataFrame, under: int, when: str) -> str:
    if now.is_empty():
        permitted = " or is permitted not to" if under else ""
        return f"Everything that could be decided conforms {when}{permitted}."
    grades = {grade: now.filter(pl.col("grading") == grade).height for grade in GRADINGS}
    names = {"major": "major finding", "minor": "minor finding", "advice": "piece of advice"}
    plurals = {"advice": "pieces of advice"}
    counts = [counted(n, names[g], plurals.get(g, "")) for g, n in grades.items() if n]
    verb = "stands" if now.height == 1 else "stand"
    places = now.select(pl.coalesce("tank", "van", "item")).n_unique()
    return sentence_case(f"{listed(counts)} {verb} {when}, at {counted(places, 'place')}.")


def _undecided(open_: pl.DataFrame) -> str:
    if open_.is_empty():
        return ""
    count = counted(open_.height, "verdict")
    return sentence_case(f"{count} could not be given for lack of evidence.")


def _incomplete(report: Report) -> list[str]:
    if report.inspection.judged == 0 or report.inspection.used == 0:
        return ["Nothing was there to judge."]
    return [] if report.complete else ["The report is incomplete."]


def day(instant: datetime | date) -> str:
    """Return a day for reading, such as ``14 May 2026``."""
    return f"{instant.day} {instant:%b %Y}"
