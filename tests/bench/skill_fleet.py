"""An invented fleet whose truth is known: tanks, their charges, and what the crews logged of them.

Nothing here uses the engine's models. What is assumed of the world is stated in ``World`` and was
set before the first forecast was looked at; none of it comes from a published source.
"""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import numpy as np
from column import Columns, Floats, acid_us_cm
from numpy.random import Generator
from numpy.typing import NDArray

Longs = NDArray[np.int64]

STARTS = datetime(2025, 1, 6, tzinfo=UTC)
DAY_US = 86_400_000_000
TDS_FACTOR = 0.5
LIMIT_MG_L = 20.0
CLASSES = {"car": 45.0, "minibus": 75.0, "coach": 180.0}
CO2_SILICA_LOW, CO2_SILICA_HIGH = 0.02, 0.12
HARD_US_CM_PER_MEQ, SALT_US_CM_PER_MEQ = 95.0, 121.0


@dataclass(frozen=True)
class World:
    """What is true of the fleet.

    Attributes:
        tanks, charges: how many tanks there are, and charges that each lives through.
        capacity_eq_l, tank_sd, charge_sd: mean true capacity, its scatter between tanks and
            between the charges of a tank, as standard deviations of the logarithm.
        units, units_tank_sd, units_charge_sd: the same for film transfer units.
        changed_early: share of charges that are changed at some moment before the limit.
        read_share: share of working days on which the outlet is read.
        logged_share: share of rinses whose litres are logged; else the class tells.
        meter_gain_sd, meter_noise: of a meter's scale, and of one reading, relative.
    """

    tanks: int = 60
    charges: int = 12
    capacity_eq_l: float = 0.50
    tank_sd: float = 0.08
    charge_sd: float = 0.05
    units: float = 18.0
    units_tank_sd: float = 0.18
    units_charge_sd: float = 0.12
    changed_early: float = 0.2
    read_share: float = 0.7
    logged_share: float = 0.8
    meter_gain_sd: float = 0.02
    meter_noise: float = 0.01
    seed: int = 7


@dataclass(frozen=True)
class Lives:
    """The truth about the k-th charge of every tank, rinse by rinse, run on past its change.

    All arrays of the shape (rinses, tanks) unless said otherwise.

    Attributes:
        at_us: when each rinse ended, since the start [us].
        kind: vehicle class, as a place in ``CLASSES``.
        litres: what ran [L]; ``logged``: what was logged, NaN where nothing was [L].
        used: true used fraction after each rinse [1].
        shown: outlet of each rinse as a perfect meter would show it [mg/L].
        read: whether the crew read the tank after this rinse.
        inlet_read, outlet_read: what the meter showed, in whole mg/L.
        begins_us, ends_us: when it was loaded and when it was changed, shape (tanks,) [us].
    """

    at_us: Longs
    kind: Longs
    litres: Floats
    logged: Floats
    used: Floats
    shown: Floats
    read: NDArray[np.bool_]
    inlet_read: Floats
    outlet_read: Floats
    begins_us: Longs
    ends_us: Longs

    @property
    def life(self) -> Longs:
        """Return how many rinses each charge gives before the outlet reaches the limit."""
        return np.argmax(self.shown >= LIMIT_MG_L, axis=0)

    @property
    def spent_after(self) -> Longs:
        """Return how many rinses each bed takes to be spent altogether, by balance."""
        return np.argmax(self.used >= 1.0, axis=0)


@dataclass
class Fleet:
    """A world run from its seed."""

    world: World = field(default_factory=World)

    def __post_init__(self) -> None:
        world, rng = self.world, np.random.default_rng(self.world.seed)
        tanks = world.tanks
        self.rng: Generator = rng
        self.base_us_cm = np.exp(rng.normal(np.log(380.0), 0.35, tanks))
        self.alkaline = rng.uniform(0.3, 0.8, tanks)
        self.weak = rng.uniform(CO2_SILICA_LOW, CO2_SILICA_HIGH, tanks)
        self.season = rng.uniform(0.02, 0.12, tanks)
        self.gain = np.exp(rng.normal(0.0, world.meter_gain_sd, tanks))
        self.resin_l = rng.choice([14.0, 28.0], tanks)
        self.log_capacity = np.log(world.capacity_eq_l) + rng.normal(0, world.tank_sd, tanks)
        self.log_units = np.log(world.units) + rng.normal(0, world.units_tank_sd, tanks)
        self.l_min = rng.uniform(0.25, 0.45, tanks) * self.resin_l
        self.mix = rng.dirichlet([4.0, 2.0, 1.0], tanks)
        self.rinses_a_day = rng.integers(2, 6, tanks)
        self.wander = rng.normal(0, 0.03, tanks)
        self.lives: list[Lives] = []
        begins = np.zeros(tanks, np.int64)
        for _ in range(world.charges):
            self.lives.append(self._live(begins))
            begins = self.lives[-1].ends_us

    def _live(self, begins_us: Longs) -> Lives:
        world, rng, tanks = self.world, self.rng, self.world.tanks
        capacity = self.resin_l * np.exp(self.log_capacity + rng.normal(0, world.charge_sd, tanks))
        units = np.exp(self.log_units + rng.normal(0, world.units_charge_sd, tanks))
        bed = Columns.fresh(capacity, units, self.l_min)
        rows: list[dict[str, Any]] = []
        at = begins_us.copy()
        while not rows or (rows[-1]["used"] < 1.0).any() or (rows[-1]["shown"] < LIMIT_MG_L).any():
            rows.append(self._rinse(bed, at))
            at = rows[-1]["at_us"]
        columns = {name: np.stack([row[name] for row in rows]) for name in rows[0]}
        ends = self._changed(columns["outlet_read"], columns["read"], columns["at_us"])
        return Lives(**columns, begins_us=begins_us, ends_us=ends)

    def _rinse(self, bed: Columns, before_us: Longs) -> dict[str, Any]:
        world, rng, tanks = self.world, self.rng, self.world.tanks
        pause = rng.uniform(0.6, 1.4, tanks) / self.rinses_a_day
        days = (before_us / DAY_US + pause) / 365.25
        # The water wanders by some 3 % and forgets within weeks.
        memory = np.exp(-pause / 20.0)
        self.wander = memory * self.wander + rng.normal(0, 0.03, tanks) * np.sqrt(1 - memory**2)
        swing = np.cos(2 * np.pi * (days - 0.6))
        us_cm = self.base_us_cm * (1 + self.season * swing + self.wander)
        meq = us_cm / (
            self.alkaline * HARD_US_CM_PER_MEQ + (1 - self.alkaline) * SALT_US_CM_PER_MEQ
        )
        kind = np.array([rng.choice(len(CLASSES), p=mix) for mix in self.mix])
        litres = np.array(list(CLASSES.values()))[kind] * np.exp(rng.normal(0, 0.12, tanks))
        l_min = self.l_min * np.exp(rng.normal(0, 0.15, tanks))
        all_eq_l = meq * (1 + self.weak) / 1000
        leaves = bed.treat(litres, all_eq_l, l_min, 12.0 + 6.0 * swing)
        alkaline = (self.alkaline + self.weak) / (1 + self.weak)
        outlet_us_cm = acid_us_cm(leaves, alkaline)
        shown = TDS_FACTOR * np.minimum(outlet_us_cm, np.maximum(us_cm, 1.0))
        trace = rng.uniform(0.1, 0.8, tanks)
        return {
            "at_us": before_us + (pause * DAY_US).astype(np.int64),
            "kind": kind,
            "litres": litres,
            "logged": np.where(rng.random(tanks) < world.logged_share, np.rint(litres), np.nan),
            "used": bed.used,
            "shown": shown,
            "read": rng.random(tanks) < world.read_share / self.rinses_a_day,
            "inlet_read": self._metered(us_cm),
            "outlet_read": self._metered(shown / TDS_FACTOR + trace),
        }

    def _metered(self, us_cm: Floats) -> Floats:
        noise = np.exp(self.rng.normal(0, self.world.meter_noise, self.world.tanks))
        return np.rint(TDS_FACTOR * us_cm * self.gain * noise)

    def _changed(self, outlet: Floats, read: NDArray[np.bool_], at_us: Longs) -> Longs:
        """Return when each crew changed the resin: at a reading over the limit, or on a whim."""
        over = np.argmax(read & (outlet >= LIMIT_MG_L), axis=0)
        over = np.where(over == 0, len(outlet) - 1, over)
        early = self.rng.random(len(over)) < self.world.changed_early
        share = np.where(early, self.rng.uniform(0.5, 0.98, len(over)), 1.0)
        last = np.maximum((over * share).astype(np.int64), 1)
        return np.take_along_axis(at_us, last[np.newaxis], axis=0)[0] + 3_600_000_000
