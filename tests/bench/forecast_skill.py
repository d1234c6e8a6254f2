"""How good the forecasts are, on fleets whose truth is known: ``forecast_skill.py [--tanks N]``.

The fleet's beds are columns of cells (``column.py``), not the closed curve that the models use.
At 25, 50, 75 and 90 % of each charge's life the engine is asked, from the records up to then, what
the bed can still take up and how many rinses are left before the outlet reaches the limit. The
rule of thumb is taken at its best: a rated number of rinses fitted to the fleet's own median, for
a tank of any size and, better still, for a litre of resin.
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from figure import Figure
from skill_fleet import LIMIT_MG_L, STARTS, TDS_FACTOR, Fleet, Floats, Lives, Longs, World
from skill_records import ASKED_AFTER_US, CLASSES, ends_at, history_of, instants, tank_ids

from qa_engine.facts.charge_facts import resin_volume, spent_eq
from qa_engine.facts.learnt import learnt_of
from qa_engine.facts.past import Past
from qa_engine.plugins.mixed_bed import qa_resin_models
from qa_engine.skill.rinses_left import rinses_left
from qa_engine.skill.score import SHARES, Cases, Score, rated_rinses, score_of
from qa_engine.water import load_eq_l


@dataclass(frozen=True)
class Case:
    """The charges that are asked about at one share of their lives, arrays of one entry each.

    Attributes:
        tank: place of the tank.
        asked_us: when, since the start [us].
        done, life: rinses done by then, and rinses until the outlet reaches the limit, with the
            part of the rinse in which it does.
        left_eq: what the bed can still take up, in equivalents as the engine counts them [eq].
        spent_eq: what it has spent, likewise [eq].
        number: which charge of its tank it is.
    """

    tank: Longs
    asked_us: Longs
    done: Longs
    life: Floats
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
    life = life_of(lives)
    columns = (tank, asked, done, life, whole - spent, spent, np.full(len(tank), number))
    return tuple(column[asks] for column in columns)


def life_of(lives: Lives) -> Floats:
    """Return after how many rinses the outlets reach the limit; they rise exponentially."""
    tank = np.arange(len(lives.life))
    before, after = (np.log(lives.shown[lives.life - n, tank]) for n in (1, 0))
    part = (np.log(LIMIT_MG_L) - before) / (after - before)
    return lives.life + np.clip(part, 0.0, 1.0)


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
        score: of rinses left, beside a rule of thumb that rates every tank alike.
        by_litre: the error of a rule of thumb that rates a litre of resin.
        coverage: share of the charges whose equivalents left lay in the 80 % interval.
        bias: median of the logarithm of learnt over true capacity.
    """

    share: float
    score: Score
    by_litre: float
    coverage: float
    bias: float

    def figures(self) -> Iterator[Figure]:
        at, how = f"at {self.share:.0%} of life", f"{self.score.charges} charges"
        goal = "75 to 85 %" if self.share >= 0.5 else ""
        yield Figure(f"80 % interval of equivalents left {at}", f"{self.coverage:.1%}", goal, how)
        got = f"{self.score.coverage:.1%}"
        yield Figure(f"80 % interval of rinses left {at}", got, goal, how)
        got = f"{self.score.error:.2%} of life"
        yield Figure(f"median error of rinses left {at}", got, "", how)
        yield Figure(f"capacity too high {at}, median", f"{self.bias:+.1%}", "", how)
        goal = ">= 70 % lower" if self.share == 0.75 else ""
        got = f"{self.score.by_rule:.2%}; ours {self.score.lower:.0%} lower"
        yield Figure(f"rule of thumb {at}", got, goal, how)
        got = f"{self.by_litre:.2%}; ours {1 - self.score.error / self.by_litre:.0%} lower"
        yield Figure(f"rule of thumb by the litre {at}", got, "", how)


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
    learnt = learnt_of(subjects, past).select("low", "median", "high").to_numpy()
    resin_l = resin_volume(subjects, past).to_numpy()
    left = learnt * resin_l[:, np.newaxis] - spent[:, np.newaxis]
    covered = (left[:, 0] <= case.left_eq) & (case.left_eq <= left[:, 2])
    forecast = rinses_left(subjects, past, LIMIT_MG_L)
    whole = _rated(fleet)
    alike = Cases(case.done, case.life, forecast, whole[0][case.number, case.tank])
    by_litre = replace(alike, rated=whole[1][case.number, case.tank])
    return Skill(
        share,
        score_of(alike),
        score_of(by_litre).by_rule,
        float(covered.mean()),
        float(np.median(np.log((left[:, 1] + spent) / (case.left_eq + spent)))),
    )


def _rated(fleet: Fleet) -> tuple[Floats, Floats]:
    """Return what a rule of thumb rates each charge for, by the tank and by the litre of resin."""
    life = np.concatenate([life_of(lives) for lives in fleet.lives])
    resin_l = np.tile(fleet.resin_l, len(fleet.lives))
    shape = (len(fleet.lives), fleet.world.tanks)
    return rated_rinses(life).reshape(shape), rated_rinses(life, resin_l).reshape(shape)


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
