"""A belief as plain text: the water, what was believed first, what each reading moved, and now."""

from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap
from typing import Any
from zoneinfo import ZoneInfo

from qa_engine.belief.load_parts import Load
from qa_engine.belief.whole import Bound, Told
from qa_engine.explanation.amounts import amount
from qa_engine.explanation.moments import moment
from qa_engine.facts.learnt_account import Account, Belief

WIDTH = 100
DIGITS = 3
SHOWN_CHARGES = 6
LITTLE = 0.02
"""A band that gets narrower by less is said not to get narrower [1]."""

MOVES = 0.0005
"""Readings that move the median by less are told together [1]."""

SHORTEST_IDLE = 3

INLET = {
    "tds_mg_l": ("TDS as the meter shows it", "mg/L"),
    "conductivity_us_cm": ("conductivity", "uS/cm"),
    "hardness_mg_l": ("hardness", "mg/L as CaCO3"),
    "alkalinity_mg_l": ("alkalinity", "mg/L as CaCO3"),
    "ph": ("pH", None),
    "silica_mg_l": ("silica", "mg/L as SiO2"),
}
ROW = "  {:<18} {:<20}{:>10}{:>11}{:>10}{:>9}  {}"


def belief_text(told: Told, zone: ZoneInfo) -> str:
    """Return what is told as text, times by the operator's clock."""
    if told.account is None:
        return f"{told.tank}: nothing is believed of its charge; {told.why_not}.\n"
    account = told.account
    parts = (
        _head(account, zone),
        _water(account, told.load),
        _prior(account),
        _readings(account, zone),
        _now(told, account),
        _narrower(told),
        _validity(account, told.bounds),
    )
    return "\n".join("\n".join(lines) + "\n" for part in parts if (lines := list(part)))


def _head(account: Account, zone: ZoneInfo) -> Iterator[str]:
    resin = f"{amount(account.resin_l, 'L', DIGITS)} of " if account.resin_l else ""
    yield f"{account.tank}, charge {account.charge}: {resin}{account.grade.name}"
    yield f"As of {moment(account.at, zone)} ({zone.key})"
    yield "A band is where 80 of 100 such numbers lie; the number before it is the median."


def _water(account: Account, load: Load | None) -> Iterator[str]:
    yield f"Water: {account.source}" if account.source else "Water: no record names its source"
    for field, (name, unit) in INLET.items():
        if (value := account.inlet.get(field)) is not None:
            yield f"  {name} {amount(value, unit, 4)}"
    if load is None:
        yield "  A litre spends an amount that is not known: the inlet was not read."
        return
    yield f"  A litre spends {_meq(load.total)}:"
    for name, part in (
        ("ions", load.ions),
        ("alkalinity", load.alkalinity),
        ("carbon dioxide", load.co2),
        ("silica", load.silica),
    ):
        if part is not None:
            yield f"    {name:<16}{_meq(part):>14}{part / load.total:>7.0%}"


def _meq(eq_l: float) -> str:
    return amount(eq_l * 1000.0, "meq/L", DIGITS)


def _prior(account: Account) -> Iterator[str]:
    yield f"Before its readings: {_band(account.prior, 'eq/L')} of resin"
    if account.learnt_from:
        shown = ", ".join(account.learnt_from[-SHOWN_CHARGES:])
        more = len(account.learnt_from) - SHOWN_CHARGES
        yield from _told(
            f"Learnt from earlier charges of this tank, of this grade and on this water: {shown}"
            + (f" and {more} before them." if more > 0 else ".")
        )
        yield from _told(f"Before those, the grade's own: {account.grade.capacity.source}.")
    else:
        yield from _told(f"The grade's own: {account.grade.capacity.source}.")
    yield from _told(
        f"Sharpness: {account.grade.sharpness.transfer_units:g} transfer units; "
        f"{account.grade.sharpness.source}."
    )


def _readings(account: Account, zone: ZoneInfo) -> Iterator[str]:
    if account.readings.is_empty():
        yield "No reading of flowing outlet water counts on this charge yet."
        return
    yield "What its outlet readings moved (outlet in mg/L, capacity in eq/L of resin)"
    yield ROW.format("read", "record", "outlet", "expected", "capacity", "moved", "band")
    idle: list[dict[str, Any]] = []
    for row in account.readings.iter_rows(named=True):
        if abs(row["shift"]) < MOVES:
            idle.append(row)
            continue
        yield from _idle(idle, zone)
        idle.clear()
        yield _row(row, zone)
    yield from _idle(idle, zone)


def _idle(rows: Sequence[Mapping[str, Any]], zone: ZoneInfo) -> Iterator[str]:
    """Yield readings that moved nothing: in one line if they are many."""
    if len(rows) < SHORTEST_IDLE:
        yield from (_row(row, zone) for row in rows)
        return
    first, last = (moment(rows[n]["at"], zone) for n in (0, -1))
    outlets = [row["outlet"] for row in rows]
    ends = dict.fromkeys(amount(end, None, DIGITS) for end in (min(outlets), max(outlets)))
    yield f"  {first} to {last}: {len(rows)} readings of {' to '.join(ends)} moved it by less"
    yield f"  than {MOVES:.2%} each"


def _row(row: Mapping[str, Any], zone: ZoneInfo) -> str:
    return ROW.format(
        moment(row["at"], zone),
        row["record"],
        amount(row["outlet"], None, DIGITS),
        "-" if row["expected"] is None else amount(row["expected"], None, 2),
        f"{row['median']:.3f}",
        f"{row['shift']:+.1%}",
        f"{row['low']:.3f} to {row['high']:.3f}",
    )


def _now(told: Told, account: Account) -> Iterator[str]:
    yield f"Now: {_band(account.capacity, 'eq/L')} of resin"
    if account.resin_l and account.spent_eq is not None:
        held = [e * account.resin_l for e in _ends(account.capacity)]
        low, median, high = (max(h - account.spent_eq, 0.0) for h in held)
        yield f"  capacity of the charge {_band(Belief(*held), 'eq')}"
        used = Belief(*(100.0 * account.spent_eq / h for h in reversed(held)))
        yield f"  spent {amount(account.spent_eq, 'eq', DIGITS)}, which is {_band(used, '%')} of it"
        yield f"  left {_band(Belief(low, median, high), 'eq')}"
        if told.load:
            litres = Belief(*(left / told.load.total for left in (low, median, high)))
            yield f"  which is {_band(litres, 'L')} of this water until the bed is spent"
    else:
        yield "  What it has spent is not known: a rinse, its water, the inlet or the resin volume."
    if told.outlet:
        yield f"  the outlet should show {_band(told.outlet, 'mg/L')}"


def _narrower(told: Told) -> Iterator[str]:
    yield "What would make the band narrower"
    if told.best and told.readings:
        now = told.readings[0].narrower
        yield from _told(f"An outlet reading from flowing water now: {_by(now)}.")
        best = told.best
        if best.narrower > max(now, LITTLE) and best.more_eq > 0:
            litres = best.more_eq / told.load.total if told.load else None
            after = f"after {amount(litres, 'L', 2)} more" if litres else "later"
            yield from _told(
                f"Most of all one taken {after}, near {best.used_fraction:.0%} of the median "
                f"capacity, as the outlet rises: {_by(best.narrower)}."
            )
    if told.load and told.load.unknown:
        yield from _told(
            f"An analysis of the water: {', '.join(told.load.unknown)} not known, so that part of "
            "the load is assumed or left out."
        )


def _by(narrower: float) -> str:
    return "hardly any narrower" if narrower < LITTLE else f"about {narrower:.0%} narrower"


def _validity(account: Account, bounds: tuple[Bound, ...]) -> Iterator[str]:
    yield "What the model is declared for"
    yield from _told(account.grade.validity)
    for bound in bounds:
        ends = " to ".join(f"{end:g}" for end in (bound.low, bound.high) if end is not None)
        ends = ends if bound.low is not None else f"up to {ends}"
        unit = "" if bound.unit == "1" else f" {bound.unit}"
        yield from _told(f"{bound.what} {ends}{unit}: {_found(bound)}")


def _found(bound: Bound) -> str:
    if bound.found is None:
        return "not on record for this use"
    unit = None if bound.unit == "1" else bound.unit
    where = f" ({bound.record})" if bound.record else ""
    inside = "within" if bound.within else "OUTSIDE: the model does not speak for this use"
    return f"last {amount(bound.found, unit, DIGITS)}{where}, {inside}"


def _ends(belief: Belief) -> tuple[float, float, float]:
    return belief.low, belief.median, belief.high


def _band(belief: Belief, unit: str) -> str:
    low, median, high = (amount(end, None, DIGITS) for end in _ends(belief))
    return f"{median} {unit} ({low} to {high})"


def _told(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
