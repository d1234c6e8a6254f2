"""Eighteen months of the demo fleet, lived through day by day."""

from datetime import date, timedelta
from itertools import count

from numpy.random import Generator, SeedSequence, default_rng

from qa_engine.demo.blemishes import Mishaps
from qa_engine.demo.changes import change_resin, new_bed
from qa_engine.demo.crews import Complaints, work_day
from qa_engine.demo.duty import Duty, Tank
from qa_engine.demo.fleet import (
    BASES,
    FIRST_DAY,
    TANKS,
    TRIAL_GRADE,
    VANS,
    TankPlan,
    VanPlan,
    source_of,
)
from qa_engine.demo.log import Log
from qa_engine.demo.papers import Office
from qa_engine.demo.services import (
    check_meter_if_due,
    come_back,
    drop,
    first_services,
    frost,
    stand_down,
    vessel_services,
)
from qa_engine.demo.simulation import Meter, TrueWater, waters
from qa_engine.demo.working_days import DAYS, next_working_day, works

FIRST_LOOK = date(2025, 6, 23)
"""The day by which visual examinations begin to fall due, one a week."""

OFFICE_DAY = 1
"""The weekday on which the office sees to the bases: Tuesday."""


class Story:
    """The fleet, its days and its log, by a seed."""

    def __init__(self, seed: int) -> None:
        draw = (default_rng(child) for child in SeedSequence(seed).spawn(100))
        self.log, self.mishaps, self.complaints = Log(), Mishaps(), Complaints()
        self.waters = {base: self._water(base, next(draw)) for base in BASES}
        self.offices = {b: Office(b, self.log, self.mishaps, next(draw)) for b in BASES}
        self.rngs = {van.van: next(draw) for van in VANS}
        self.meters = {van.van: Meter(van.meter, next(draw)) for van in VANS}
        self.checked: dict[str, date | None] = {van.van: None for van in VANS}
        self.turns = {van.van: count() for van in VANS}
        self.tanks = [self._tank(plan, n, next(draw)) for n, plan in enumerate(TANKS)]

    def tell(self) -> Log:
        """Live through all days and return what was logged."""
        self._begin()
        for number, day in enumerate(DAYS):
            for base, office in self.offices.items():
                if day.weekday() == OFFICE_DAY:
                    office.day(day, self.waters[base][number])
            for van in VANS:
                self.meters[van.van].age_a_day()
                if self._logs(van, day):
                    self._work(self._duty(van, number))
        return self.log

    def _water(self, base: str, rng: Generator) -> list[TrueWater]:
        return waters(source_of(base), len(DAYS), FIRST_DAY.timetuple().tm_yday, rng)

    def _tank(self, plan: TankPlan, number: int, rng: Generator) -> Tank:
        return Tank(
            plan,
            bed=new_bed(plan.size, rng),
            change_at_mg_l=0,
            change_at_counter_l=0,
            counter_l=float(rng.integers(20_000, 90_000)),
            seals_renewed_on=FIRST_DAY - timedelta(days=365),
            shown_mg_l=8 + int(rng.integers(10)),
            examine_by=plan.examine_by,
            look_by=FIRST_LOOK + timedelta(weeks=len(TANKS) - number),
        )

    def _duty(self, van: VanPlan, number: int) -> Duty:
        day, water = DAYS[number], self.waters[van.base][number]
        meter, rng = self.meters[van.van], self.rngs[van.van]
        return Duty(van, day, meter, water, rng, self.log, self.mishaps)

    def _tanks_of(self, van: VanPlan, day: date) -> list[Tank]:
        return [tank for tank in self.tanks if tank.plan.van_on(day) == van.van]

    def _logs(self, van: VanPlan, day: date) -> bool:
        return works(van.van, day) and not self.mishaps.strikes("silent van", van.van, day)

    def _begin(self) -> None:
        """Begin the records with a fresh tank in every place, its seals and first examinations."""
        for van in VANS:
            duty = self._duty(van, 0)
            for number, tank in enumerate(self._tanks_of(van, FIRST_DAY)):
                at = duty.at(9 + 2 * number, duty.minute(20))
                change_resin(duty, tank, at, first=True)
                first_services(duty, tank, at + timedelta(minutes=45))

    def _work(self, duty: Duty) -> None:
        van, day = duty.van.van, duty.day
        next_day = next_working_day(van, day)
        come_back(duty)
        self.checked[van] = check_meter_if_due(duty, self.checked[van], next_day)
        tanks = self._tanks_of(duty.van, day)
        for tank in tanks:
            vessel_services(duty, tank, next_day)
            frost(duty, tank)
        usable = [tank for tank in tanks if tank.usable]
        self._use(duty, usable[next(self.turns[van]) % len(usable)])
        stand_down(duty, next_day)

    def _use(self, duty: Duty, tank: Tank) -> None:
        before = tank.bed
        work_day(duty, tank, self.complaints)
        if tank.bed is not before and tank.grade != TRIAL_GRADE:
            self.offices[duty.van.base].take_in(before.resin_l)
        drop(duty, tank)
