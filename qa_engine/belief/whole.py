"""All that is told of a belief: the account of it, the load in parts, the outlet, what to read."""

from collections.abc import Iterator
from dataclasses import dataclass

import polars as pl

from qa_engine.belief.load_parts import Load, load_parts
from qa_engine.belief.next_reading import Reading, readings_to_take
from qa_engine.charges import charge_at
from qa_engine.depletion.inlet import inlet_at
from qa_engine.errors import QAEngineError, nearest
from qa_engine.facts.learnt import learnt_of, predicted_outlet
from qa_engine.facts.learnt_account import Account, Belief, explain_learning
from qa_engine.facts.past import Past
from qa_engine.history import latest

MOST_NAMES = 10


@dataclass(frozen=True)
class Bound:
    """A bound that the grade declares, and what the records say of this use.

    Attributes:
        what: what is bounded, with its unit in ``unit``.
        low, high: what the grade declares, None for no bound.
        found: what the records last said, None where they do not.
        record: the record that said so.
    """

    what: str
    unit: str
    low: float | None
    high: float | None
    found: float | None
    record: str | None

    @property
    def within(self) -> bool | None:
        """Tell whether this use lies within, None where that is not known."""
        if self.found is None:
            return None
        low = self.low is None or self.found >= self.low
        return low and (self.high is None or self.found <= self.high)


@dataclass(frozen=True)
class Told:
    """What is told of a tank's charge.

    Attributes:
        tank: which tank.
        why_not: why nothing is believed of its charge; None where something is, and only then is
            there an ``account``.
        account: where the belief comes from.
        load: what a litre of the inlet water spends, None where it is not known.
        outlet: what the outlet should show now [mg/L], None where that cannot be told.
        readings: outlet readings that could be taken, the first of them now.
        bounds: what the grade declares, beside this use.
    """

    tank: str
    why_not: str | None
    account: Account | None = None
    load: Load | None = None
    outlet: Belief | None = None
    readings: tuple[Reading, ...] = ()
    bounds: tuple[Bound, ...] = ()

    @property
    def best(self) -> Reading | None:
        """Return the reading that is expected to narrow the belief most."""
        return max(self.readings, key=lambda one: one.narrower, default=None)


def told_of(past: Past, tank: str) -> Told:
    """Return what is to be told of the charge in a tank, as of the instant of the past.

    Raises:
        QAEngineError: neither the register nor a record knows the tank.
    """
    known = {*past.register.table("tanks")["tank"], *past.history.tanks()}
    if tank not in known:
        problem = f"Neither the register nor a record knows a tank '{tank}'"
        raise QAEngineError(
            f"{problem}; {nearest(tank, sorted(known)) or 'tanks are: ' + _few(known)}"
        )
    account = explain_learning(past, tank)
    if account is None:
        return Told(tank, _why_not(past, tank))
    now = _asked(past, tank)
    model = past.models[account.grade.name]
    ends = predicted_outlet(now, past).row(0)
    return Told(
        tank,
        None,
        account,
        load_parts(account.inlet, model),
        Belief(*ends) if None not in ends else None,
        _readings(past, account, now),
        tuple(_bounds(past, account, now)),
    )


def _few(known: set[str]) -> str:
    names = sorted(known)
    return ", ".join(names[:MOST_NAMES]) + (", ..." if len(names) > MOST_NAMES else "")


def _asked(past: Past, tank: str) -> pl.DataFrame:
    schema = {"tank": pl.String(), "at": pl.Datetime("us", "UTC")}
    return pl.DataFrame({"tank": [tank], "at": [past.as_of]}, schema=schema)


def _why_not(past: Past, tank: str) -> str:
    charge = charge_at(_asked(past, tank), past.charges)
    grade = charge["grade"][0]
    if not charge["known"][0]:
        return "the records do not say when its resin was loaded"
    if grade is None:
        return "no record says which grade of resin is in it"
    if grade not in past.models:
        return f"no loaded model speaks for its grade, '{grade}'"
    return f"the model of its grade, '{grade}', states no capacity that can be reckoned with"


def _readings(past: Past, account: Account, now: pl.DataFrame) -> tuple[Reading, ...]:
    inlet = inlet_at(now, past.history)
    read = inlet.select(pl.any_horizontal(pl.col("tds_mg_l", "conductivity_us_cm").is_not_null()))
    if not account.resin_l or account.spent_eq is None or not read.item():
        return ()
    charge = pl.concat([now, inlet], how="horizontal").with_columns(
        grade=pl.lit(account.grade.name),
        resin_volume=pl.lit(account.resin_l),
        spent=pl.lit(account.spent_eq),
    )
    step = learnt_of(now, past)["step"][0]
    return readings_to_take(past, charge, step, account.capacity.median * account.resin_l)


def _bounds(past: Past, account: Account, now: pl.DataFrame) -> Iterator[Bound]:
    grade = account.grade
    flow, record = _last(past, now, "rinse", "flow")
    bed = flow * 60.0 / account.resin_l if flow is not None and account.resin_l else None
    yield Bound(
        "flow",
        "BV/h",
        grade.least_flow_bv_h,
        grade.greatest_flow_bv_h,
        bed,
        record if bed else None,
    )
    if grade.ph_low is not None or grade.ph_high is not None:
        yield Bound("pH", "1", grade.ph_low, grade.ph_high, account.inlet["ph"], None)
    if grade.greatest_temperature_deg_c is not None:
        found = _last(past, now, "reading", "water_temperature")
        yield Bound("water temperature", "degC", None, grade.greatest_temperature_deg_c, *found)


def _last(past: Past, now: pl.DataFrame, kind: str, field: str) -> tuple[float | None, str | None]:
    """Return what a tank's last record with a field says, and its id."""
    rows = past.history.of(kind, "tank", "at", "record", field).drop_nulls(field)
    found: tuple[float | None, str | None] = latest(
        now, rows, by="tank", take=[field, "record"]
    ).row(0)
    return found
