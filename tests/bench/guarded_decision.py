"""What it costs to allow for uncertainty: the same rule with simple and with guarded acceptance."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from figure import Figure, seconds

from qa_engine.conformity import outcome_expression
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.past import Past
from qa_engine.history import History
from qa_engine.inspection import Assignment, inspect
from qa_engine.judging import judge, requirements_of
from qa_engine.register import TABLES, Register
from qa_engine.rulesets import Rule, read_rule_sets

ROWS = 1_000_000
TIMES = 7
STARTS = datetime(2026, 1, 1, tzinfo=UTC)
METERS = 50
TANKS = 200
PER_CHARGE = 500

EDITION = """
rule_set: bench
title: Bench
edition: 2026-01
in_force: {{from: 2020-01-01}}
owner: nobody
rules:
  - rule: outlet-below-house-limit
    title: Outlet below the house limit
    subject: reading
    {applies_if}
    requires: outlet_tds < house_limit
    decision: {decision}
    limits: {{house_limit: {{is: 20 mg/L, basis: none}}}}
    grading: minor
    says: Outlet read {{outlet_tds}}.
    correction: Change the resin.
    examples: {{conforms: []}}
"""
DECISIONS = {
    "simple": "{acceptance: simple}",
    "guarded": "{acceptance: guarded, confidence: 95 %}",
}


def guarded_decision() -> list[Figure]:
    """Measure the comparison alone, the rule as it ships, and judging with all its facts.

    The comparison alone reads two columns instead of one, so that twice the time is its floor.
    """
    past, catalogue = _past(), Catalogue.of(ENGINE_FACTS)
    facts = past.history.of("reading", "outlet_tds", "sampled").with_columns(
        (pl.col("outlet_tds") * 0.0115 + 0.577).alias("uncertainty of outlet_tds"),
        softening_bed=pl.int_range(pl.len()) % 10 == 0,
    )
    applies_if = 'applies_if: sampled == "flowing" and not softening_bed'
    return [
        _figure("the comparison alone", [_outcomes(facts, n, "") for n in DECISIONS]),
        _figure("outcome of the rule", [_outcomes(facts, n, applies_if) for n in DECISIONS]),
        _figure("judged with its facts", [_judged(past, catalogue, n) for n in DECISIONS]),
        _figure(
            "judged, any meter at any tank",
            [_judged(_past(roaming=True), catalogue, n) for n in DECISIONS],
        ),
        _figure("inspected, to the findings", [_inspected(past, n) for n in DECISIONS]),
    ]


def _figure(what: str, calls: list[Callable[[], None]]) -> Figure:
    """Measure both in turns; the least time of each, since others only ever add to it."""
    times_s = [[seconds(call) for call in calls] for _ in range(TIMES)]
    simple_s, guarded_s = (min(column) for column in zip(*times_s, strict=True))
    told = f"{ROWS:,} readings, 0.2 % missing, least of {TIMES} in turns; "
    told += f"{guarded_s * 1e3:.1f} ms against {simple_s * 1e3:.1f} ms"
    return Figure(f"guarded, {what}", f"{guarded_s / simple_s:.2f} x", "< 2 x simple", told)


def _rule(name: str, applies_if: str) -> Rule:
    text = EDITION.format(applies_if=applies_if, decision=DECISIONS[name])
    catalogue = Catalogue.of(ENGINE_FACTS)
    return read_rule_sets([("bench.yaml", text.encode())], catalogue)[0].rules[0]


def _outcomes(facts: pl.DataFrame, name: str, applies_if: str) -> Callable[[], None]:
    rule = _rule(name, applies_if)
    applies = rule.applies_if and rule.applies_if.expression()
    outcome = outcome_expression(applies, rule.requires.expression())

    def judged() -> None:
        facts.lazy().select(outcome.alias("outcome")).collect()

    return judged


def _judged(past: Past, catalogue: Catalogue, name: str) -> Callable[[], None]:
    text = EDITION.format(applies_if="", decision=DECISIONS[name])
    editions = read_rule_sets([("bench.yaml", text.encode())], catalogue)
    requirements = requirements_of(editions, past.register.zone)

    def judged() -> None:
        fresh = Past(History(past.history.frames, past.register), {}, past.as_of)
        judge(requirements, fresh, catalogue, by_day=False)

    return judged


def _inspected(past: Past, name: str) -> Callable[[], None]:
    text = EDITION.format(applies_if="", decision=DECISIONS[name]).encode()
    task = Assignment(past.history.frames, past.register, past.as_of)

    def inspected() -> None:
        inspect(task, (), lambda host: [("bench.yaml", text)])

    return inspected


def _past(*, roaming: bool = False) -> Past:
    """Return the readings of a fleet, each van with its own meter unless meters roam."""
    rng = np.random.default_rng(7)
    number = np.arange(ROWS)
    meter = rng.integers(0, METERS, ROWS) if roaming else number % TANKS % METERS
    worn = number // TANKS % PER_CHARGE / PER_CHARGE  # each charge runs from fresh to spent
    tds = pl.Series(np.abs(40 * worn**6 + rng.normal(0, 0.3, ROWS)))
    readings = pl.DataFrame(
        {
            "record": pl.Series(number).cast(pl.String),
            "at": pl.Series(number * 60_000_000).cast(pl.Duration("us")) + STARTS,
            "tank": pl.Series(number % TANKS).cast(pl.String),
            "meter": pl.Series(meter).cast(pl.String),
            "sampled": pl.Series(["flowing", "standing"]).gather(rng.integers(0, 2, ROWS)),
            "outlet_tds": tds.set(pl.Series(rng.random(ROWS) < 0.002), None),
            "water_temperature": pl.Series(rng.uniform(5, 25, ROWS)),
        }
    )
    checks = pl.DataFrame(
        {
            "record": [f"C{n}" for n in range(METERS)],
            "at": [STARTS] * METERS,
            "meter": [str(n) for n in range(METERS)],
            "standard_conductivity": [1413.0] * METERS,
            "shown_before": list(1413.0 + rng.normal(0, 15, METERS)),
        }
    )
    history = History.of_records({"reading": readings, "meter_check": checks}, _register())
    return Past(history, {}, STARTS + timedelta(minutes=ROWS))


def _register() -> Register:
    zone = ZoneInfo("UTC")
    rows = [
        {
            "meter": str(n),
            "accuracy_percent": 2.0,
            "accuracy_digits": 1.0,
            "resolution": 1.0,
            "factor": 0.5,
            "compensation": True,
        }
        for n in range(METERS)
    ]
    return Register("bench", zone, {"meters": TABLES["meters"].frame(rows, zone)})


if __name__ == "__main__":
    for figure in guarded_decision():
        print(figure.what, figure.got, figure.how, sep=" | ")
