"""A van on duty for a day, and its tanks as they stand."""

from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cached_property

from numpy.random import Generator

from qa_engine.demo.blemishes import Mishaps
from qa_engine.demo.fleet import STANDARD_GRADE, ZONE, TankPlan, VanPlan
from qa_engine.demo.log import Log, Row
from qa_engine.demo.simulation import Bed, Meter, TrueWater


@dataclass
class Tank:
    """A tank as it stands: its bed, its counter, and what falls due.

    Attributes:
        plan: what kind of tank it is and whose.
        bed: the resin as it truly is.
        change_at_mg_l: outlet reading at which the crew changes this charge [mg/L].
        change_at_counter_l: counter at which the office has planned to change it [L].
        counter_l: litres on the tank's counter [L].
        seals_renewed_on: the day on which the seals were last replaced.
        examine_by, look_by: when the periodic and the visual examination fall due.
        grade: the grade of resin in it.
        shown_mg_l: what the outlet last showed on this charge [mg/L].
        usable: False while it is out of use or set aside.
    """

    plan: TankPlan
    bed: Bed
    change_at_mg_l: float
    change_at_counter_l: float
    counter_l: float
    seals_renewed_on: date
    examine_by: date
    look_by: date
    grade: str = STANDARD_GRADE
    shown_mg_l: float = 0.0
    usable: bool = True

    @property
    def name(self) -> str:
        return self.plan.tank

    def draw(self, litres: float, water: TrueWater) -> None:
        """Pass water through the bed and past the counter."""
        self.bed.feed(litres, water)
        self.counter_l += litres


@dataclass(frozen=True)
class Duty:
    """A van on one day: who, with which meter, on what water, and where it is written down."""

    van: VanPlan
    day: date
    meter: Meter
    water: TrueWater
    rng: Generator
    log: Log
    mishaps: Mishaps

    @cached_property
    def by(self) -> str:
        """Return who of the crew does the day's logging."""
        return self.van.crew[int(self.rng.integers(len(self.van.crew)))]

    def at(self, hour: int, minute: int) -> datetime:
        """Return a time of the day, by local clocks."""
        return datetime.combine(self.day, time(hour, minute), ZONE)

    def minute(self, latest: int) -> int:
        """Return a minute from 0 to the latest, nobody being punctual."""
        return int(self.rng.integers(latest + 1))

    def strikes(self, blemish: str, item: str) -> bool:
        """Tell whether a planted blemish happens to an item today."""
        return self.mishaps.strikes(blemish, item, self.day)

    def write(self, kind: str, at: datetime, item: str, fields: Row) -> str:
        """Write a record of this van down and return its id."""
        return self.log.add(kind, at, item, {"van": self.van.van, "by": self.by, **fields})

    def write_of(self, tank: Tank, kind: str, at: datetime, fields: Row) -> str:
        """Write a record of a tank down and return its id."""
        return self.write(kind, at, tank.name, {"tank": tank.name, **fields})
