"""How good the forecasts are, on fleets whose truth is known: ``forecast_skill.py [--tanks N]``.

The fleet's beds are columns of cells (``column.py``), not the closed curve that the models use.
At 25, 50, 75 and 90 % of each charge's life the engine is asked, from the records up to then, what
the bed can still take up and how many rinses are left before the outlet reaches the limit. The
rule of thumb is taken at its best: a rated number of rinses fitted to the fleet's own median.
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl
from figure import Figure
from skill_fleet import LIMIT_MG_L, STARTS, TDS_FACTOR, Fleet, Floats, Longs, World
from skill_records import ASKED_AFTER_US, CLASSES, ends_at, history_of, instants, tank_ids

from qa_engine.depletion.limit import used_fraction_at
from qa_engine.depletion.weighing import water_of
from qa_engine.facts.charge_facts import spent_eq
from qa_engine.facts.learnt import learnt_of, outlook_of
from qa_engine.facts.past import Past
from qa_engine.plugins.mixed_bed import MixedBed, qa_resin_models
from qa_engine.water import load_eq_l

SHARES = (0.25, 0.50, 0.75, 0.90)
LOW, HIGH = 0.1, 0.9


@dataclass(frozen=True)
class Case:
    """The charges that are asked about at one share of their lives, arrays of one entry each.

    Attributes:
        tank: place of the tank.
        asked_us: when, since the start [us].
        done, life: rinses done by then, and rinses before the outlet reaches the limit.
        left_eq: what the bed can still take up, in equivalents as the engine counts them [eq].
        spent_eq: what it has spent, likewise [eq].
        number: which charge of its tank it is.
    """

    tank: Longs
    asked_us: Longs
    done: Longs
    life: Longs
    left_eq: Floats
    spent_eq: Floats
    number: Longs


def cases(fleet: Fleet, share: float) -> Case:
    """Return the charges that were still in use at a share of their lives."""
    found = [_cases_of(fleet, number, share) for number in range(len(fleet.lives))]
    return Case(*(np.concatenate(column) for column in zip(*found, strict=True)))


def _cases_of(fleet: Fleet, number: int, share: float) -> tuple[np.ndarray, ...]:
    lives = fleet.lives[number]
    done = np.floor(lives.life * share).astype(np.int64)
    tank = np.arange(fleet.world.tanks)
    asked = lives.at_us[np.maximum(done - 1, 0), tank] + ASKED_AFTER_US
    asks = (done > 0) & (asked < lives.ends_us)
    counted = np.cumsum(_counted_eq(fleet, number), axis=0)
    spent = counted[np.maximum(done - 1, 0), tank]
    last = lives.spent_after
    step = (1.0 - lives.used[last - 1, tank]) / (
        lives.used[last, tank] - lives.used[last - 1, tank]
    )
    whole = counted[last - 1, tank] + step * (counted[last, tank] - counted[last - 1, tank])
    columns = (tank, asked, done, lives.life, whole - spent, spent, np.full(len(tank), number))
    return tuple(column[asks] for column in columns)


def _counted_eq(fleet: Fleet, number: int) -> Floats:
    """Return what each rinse spends as the engine would count it, had the crew gone on [eq]."""
    lives = fleet.lives[number]
    inlet = np.where(lives.read, lives.inlet_read, np.nan)
    before = _last_read(fleet, number)
    known = np.concatenate([before[np.newaxis], inlet[:-1]])
    place = np.where(np.isnan(known), 0, np.arange(len(known))[:, np.newaxis])
    known = np.take_along_axis(known, np.maximum.accumulate(place, axis=0), axis=0)
    by_class = np.array(list(CLASSES.values()))[lives.kind]
    litres = np.where(np.isnan(lives.logged), by_class, lives.logged)
    return litres * load_eq_l(known / TDS_FACTOR)


def _last_read(fleet: Fleet, number: int) -> Floats:
    """Return what the inlet of each tank was last read as before a charge began."""
    last = fleet.lives[0].inlet_read[0].copy()
    for lives in fleet.lives[:number]:
        for read, at, shown in zip(lives.read, lives.at_us, lives.inlet_read, strict=True):
            last = np.where(read & (at <= lives.ends_us), shown, last)
    return last


@dataclass(frozen=True)
class Skill:
    """How the forecasts at one share of life did.

    Attributes:
        share: of life, when they were made.
        charges: how many.
        coverage: share of the charges whose equivalents left lay in the 80 % interval.
        within_life: the same for rinses left.
        error, by_rule: median absolute error of rinses left over life, ours and the rule's.
        bias: median of the logarithm of learnt over true capacity.
    """

    share: float
    charges: int
    coverage: float
    within_life: float
    error: float
    by_rule: float
    bias: float

    def figures(self) -> Iterator[Figure]:
        at = f"at {self.share:.0%} of life"
        how = f"{self.charges} charges"
        goal = "75 to 85 %" if self.share >= 0.5 else ""
        yield Figure(f"80 % interval of equivalents left {at}", f"{self.coverage:.1%}", goal, how)
        yield Figure(f"80 % interval of rinses left {at}", f"{self.within_life:.1%}", "", how)
        yield Figure(f"median error of rinses left {at}", f"{self.error:.2%} of life", "", how)
        yield Figure(f"capacity too high {at}, median", f"{self.bias:+.1%}", "", how)
        less = 1 - self.error / self.by_rule
        goal = ">= 70 % lower" if self.share == 0.75 else ""
        yield Figure(f"rule of thumb {at}", f"{self.by_rule:.2%}; ours {less:.0%} lower", goal, how)


def skill_at(fleet: Fleet, past: Past, share: float) -> Skill:
    """Return how the forecasts at one share of life did."""
    case = cases(fleet, share)
    subjects = pl.DataFrame(
        {
            "tank": pl.Series(tank_ids(fleet)).gather(case.tank),
            "at": instants(case.asked_us),
        }
    )
    spent = spent_eq(subjects, past).to_numpy()
    np.testing.assert_allclose(spent, case.spent_eq, rtol=1e-9)
    outlook = outlook_of(subjects, past)
    learnt = learnt_of(subjects, past).select("low", "median", "high").to_numpy()
    left = learnt * outlook.resin_l[:, np.newaxis] - spent[:, np.newaxis]
    covered = (left[:, 0] <= case.left_eq) & (case.left_eq <= left[:, 2])
    until = used_fraction_at(
        MixedBed(),
        np.array(LIMIT_MG_L),
        water_of(outlook.water, 1),
        np.full((len(spent), 1), np.nan),
        outlook.scenarios.transfer_units,
    )
    rinses = (until * outlook.capacity_eq - spent[:, np.newaxis]) / (spent / case.done)[:, None]
    low, median, high = np.quantile(np.maximum(rinses, 0), [LOW, 0.5, HIGH], axis=1)
    true = case.life - case.done
    rated = np.median(np.concatenate([lives.life for lives in fleet.lives]))
    by_rule = np.maximum(rated - case.done, 0)
    return Skill(
        share,
        len(true),
        float(covered.mean()),
        float(((np.floor(low) <= true) & (true <= np.ceil(high))).mean()),
        float(np.median(np.abs(median - true) / case.life)),
        float(np.median(np.abs(by_rule - true) / case.life)),
        float(np.median(np.log((left[:, 1] + spent) / (case.left_eq + spent)))),
    )


def forecast_skill(world: World) -> list[Figure]:
    """Return the figures for a fleet."""
    fleet = Fleet(world)
    models = {model.grade.name: model for model in qa_resin_models()}
    past = Past(history_of(fleet), models, STARTS + ends_at(fleet))
    found = [skill_at(fleet, past, share) for share in SHARES]
    return [figure for skill in found for figure in skill.figures()]


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tanks", type=int, default=World.tanks)
    parser.add_argument("--charges", type=int, default=World.charges)
    parser.add_argument("--seed", type=int, default=World.seed)
    given = parser.parse_args()
    for figure in forecast_skill(World(given.tanks, given.charges, seed=given.seed)):
        print(f"{figure.what:<55} {figure.got:<28} {figure.goal:<15} {figure.how}")


if __name__ == "__main__":
    main()
