"""Work that is wanted by a day: resin changes by the forecast, the rest by the rules."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import polars as pl

from qa_engine.facts.fact import STATE_SUBJECTS
from qa_engine.facts.whereabouts import with_van
from qa_engine.forecast.outcome import Forecast
from qa_engine.history import History
from qa_engine.inspection import Inspection
from qa_engine.judging import Requirement, requirements_of
from qa_engine.subjects import item_of

RESIN_CHANGE = "Resin change"
CHANGE_THE_RESIN = "Change the resin, and read the outlet from flowing water after it."
OPENING = (
    "Isolate the tank, release its pressure and see zero on a gauge before opening it. Keep to its "
    "data plate and to local codes, and leave to a competent person what they leave to one."
)
"""The caution of a resin change where the rule whose limit calls for it has none."""

ABOUT = ("tank", "meter")
"""What rules must be about for their work to be done at a visit to a van."""


@dataclass(frozen=True)
class Work:
    """A piece of work.

    Attributes:
        place_kind, place: the van that it is done at, or the tank or meter that is in none.
        work: what it is, in a few words.
        by: the last day on which it is in time, today if that is over.
        overdue: whether it is.
        tank, subject_kind, subject: what it is about; ``tank`` None for what is no tank's.
        rule_set, rule: which rule asks for it.
        correction, caution: what to do, and what to mind while doing it.
        grade, resin_volume: what a resin change takes [L]; None for other work.
    """

    place_kind: str
    place: str
    work: str
    by: date
    overdue: bool
    tank: str | None
    subject_kind: str
    subject: str
    rule_set: str
    rule: str
    correction: str
    caution: str | None
    grade: str | None = None
    resin_volume: float | None = None

    @property
    def is_resin_change(self) -> bool:
        """Tell whether it is a resin change, rather than what a rule wants by a day."""
        return self.work == RESIN_CHANGE

    @property
    def order(self) -> tuple[Any, ...]:
        """Return what it is sorted by: its last day, then what it is about."""
        return (self.by, self.tank or "", self.subject, self.rule_set, self.rule)


def work_of(forecast: Forecast, inspection: Inspection) -> Iterator[Work]:
    """Yield the resin changes that are recommended, and what falls due or is overdue by rules.

    Args:
        forecast: of the tanks.
        inspection: of the same records at the same instant, without a period.
    """
    zone = inspection.assignment.register.zone
    rules = {(r.rule_set, r.rule): r for r in requirements_of(inspection.editions, zone)}
    yield from _resin_changes(forecast, rules)
    where = _Whereabouts.of(forecast, inspection)
    yield from _due(forecast, inspection, rules, where)
    yield from _overdue(forecast, inspection, rules, where)


_Rules = Mapping[tuple[str, str], Requirement]


def _resin_changes(forecast: Forecast, rules: _Rules) -> Iterator[Work]:
    for tank in forecast.tanks.drop_nulls("change_by").iter_rows(named=True):
        rule_set, rule = tank["limit_rule"].split("/", 1)
        caution = rules[rule_set, rule].editions[-1].rule.caution
        yield Work(
            *(("van", tank["van"]) if tank["van"] else ("tank", tank["tank"])),
            RESIN_CHANGE,
            tank["change_by"],
            overdue=tank["litres_left_high"] == 0,
            tank=tank["tank"],
            subject_kind="tank",
            subject=tank["tank"],
            rule_set=rule_set,
            rule=rule,
            correction=CHANGE_THE_RESIN,
            caution=caution or OPENING,
            grade=tank["grade"],
            resin_volume=tank["resin_volume"],
        )


@dataclass(frozen=True)
class _Whereabouts:
    """In which van tanks and meters are."""

    of_tank: Mapping[str, str | None]
    of_meter: Mapping[str, str | None]

    @classmethod
    def of(cls, forecast: Forecast, inspection: Inspection) -> "_Whereabouts":
        tanks = forecast.tanks.select("tank", "van")
        return cls(dict(tanks.iter_rows()), meter_vans(inspection))

    def place(self, row: Mapping[str, Any]) -> tuple[str, str]:
        """Return the place where the work about a subject is done: its kind and id."""
        kind, subject = row["subject_kind"], row["subject"]
        van = row["van"]
        if row["tank"]:
            van = self.of_tank.get(row["tank"]) or van
        elif kind == "meter":
            van = self.of_meter.get(subject)
        if van:
            return "van", van
        return ("tank", row["tank"]) if row["tank"] else (kind, subject)


def _at_a_visit(row: Mapping[str, Any]) -> bool:
    return item_of(row["subject_kind"]) in ABOUT


def meter_vans(inspection: Inspection) -> dict[str, str | None]:
    """Return the van in which each meter was read with last."""
    task = inspection.assignment
    frames = {
        k: f.filter(pl.col("at") <= task.as_of) for k, f in task.frames.items() if k == "reading"
    }
    readings = History.of_records(frames, task.register).of(
        "reading", "at", "record", "van", "tank", "meter"
    )
    seen = with_van(readings, task.register).drop_nulls(["meter", "van"]).sort("at", "record")
    return dict(seen.group_by("meter").agg(pl.col("van").last()).iter_rows())


def _due(
    forecast: Forecast, inspection: Inspection, rules: _Rules, where: _Whereabouts
) -> Iterator[Work]:
    """Yield what falls due, by the day before the first one on which a requirement fails."""
    for row in filter(_at_a_visit, inspection.due.iter_rows(named=True)):
        by = max(row["falls_due"] - timedelta(days=1), forecast.today)
        yield _asked(row, rules, where, by, overdue=False)


def _overdue(
    forecast: Forecast, inspection: Inspection, rules: _Rules, where: _Whereabouts
) -> Iterator[Work]:
    """Yield what time alone has brought about already."""
    standing = inspection.findings.filter(
        "stands", pl.col("outcome") == "does not conform", pl.col("permission").is_null()
    )
    for row in filter(_at_a_visit, standing.iter_rows(named=True)):
        if _by_time(rules[row["rule_set"], row["rule"]], inspection):
            yield _asked(row, rules, where, forecast.today, overdue=True)


def _by_time(one: Requirement, inspection: Inspection) -> bool:
    if one.within is not None:
        return True
    if one.subject not in STATE_SUBJECTS:
        return False
    facts = inspection.catalogue.facts_of(one.subject)
    return any(facts[name].per_day for name in one.needs() if name in facts)


def _asked(
    row: Mapping[str, Any], rules: _Rules, where: _Whereabouts, by: date, *, overdue: bool
) -> Work:
    rule = rules[row["rule_set"], row["rule"]].editions[-1].rule
    return Work(
        *where.place(row),
        rule.title,
        by,
        overdue=overdue,
        tank=row["tank"],
        subject_kind=row["subject_kind"],
        subject=row["subject"],
        rule_set=rule.rule_set,
        rule=rule.rule,
        correction=rule.correction,
        caution=rule.caution,
    )
