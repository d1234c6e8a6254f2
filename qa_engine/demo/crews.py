"""A crew's day: readings before and after work, the jobs between them, changes when due."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from qa_engine.demo.changes import change_resin, seals_cannot_wait
from qa_engine.demo.duty import Duty, Tank
from qa_engine.demo.fleet import VEHICLES_PER_JOB, WATER_PER_RINSE_L
from qa_engine.demo.log import Row

SAMPLE_L = 1.0
"""Water that runs while a reading is taken [L]."""

USUAL_DAY_L = 180.0
"""What the office reckons a tank gives on a day of work [L]."""

WATCH_MG_L = 3.0
"""Outlet reading from which the crew reads after every job [mg/L]."""

STOP_MG_L = 32.0
"""Outlet reading at which even the crew that waited for resin gave up [mg/L]."""

SPOTS_US_CM = 50.0
"""True outlet conductivity from which customers may see spots [uS/cm]."""

SHARE_WHO_COMPLAIN = 0.5
"""Share of the customers with spots who say so [1]."""

WATER_SCATTER = 0.08
"""Scatter of the water that one vehicle takes, relative [1]."""

FIRST_JOB = 8
"""The hour of the first job; the others follow every two hours [h]."""

MOST_JOBS = 4
MOST_VEHICLES = 11
"""Nobody rinses more vehicles than this between two readings."""

BUSY_SEASON = (0.85, 0.85, 0.9, 1.0, 1.05, 1.15, 1.2, 1.25, 1.1, 1.0, 0.9, 0.85)
"""Work by month, relative to a day in April [1]."""

BUSY_WEEKDAY = (0.9, 0.9, 1.0, 1.05, 1.2)
"""Work by weekday, Monday first, relative to the mean [1]."""


@dataclass
class Complaints:
    """Vehicles that left with too much in the last water, by van, until their owners call."""

    waiting: dict[str, Row] = field(default_factory=dict)


def work_day(duty: Duty, tank: Tank, complaints: Complaints) -> None:
    """Live through a van's working day with one tank in hand."""
    look_at_outlet(duty, tank, duty.at(7, 45 + duty.minute(10)))
    answer_complaint(duty, complaints)
    for number, job in enumerate(todays_jobs(duty)):
        at = duty.at(FIRST_JOB + 2 * number, 40 + duty.minute(10))
        rinse(duty, tank, at, job, complaints)
        if is_watched(tank):
            look_at_outlet(duty, tank, at + timedelta(minutes=50))
        if not tank.usable:
            break
    look_at_outlet(duty, tank, duty.at(16, 40 + duty.minute(10)), evening=True)
    if duty.strikes("complaint without reading", duty.van.van):
        complain(duty, duty.at(17, 20), {"vehicle_class": "motorhome"}, rinsed_again="no")


def is_watched(tank: Tank) -> bool:
    """Tell whether the crew reads the outlet after every job, the charge being nearly spent."""
    planned = tank.counter_l + USUAL_DAY_L > tank.change_at_counter_l
    return tank.usable and (tank.shown_mg_l >= WATCH_MG_L or planned)


def look_at_outlet(duty: Duty, tank: Tank, at: datetime, *, evening: bool = False) -> None:
    """Read the outlet and change the resin if it is time; a crew without its meter does neither."""
    if duty.strikes("missed readings", duty.van.van):
        return
    read(duty, tank, at)
    if duty.strikes("resin overrun", tank.name):
        tank.usable = tank.shown_mg_l < STOP_MG_L
    elif is_due(duty, tank, evening):
        change_resin(duty, tank, at + timedelta(minutes=10))


def is_due(duty: Duty, tank: Tank, evening: bool) -> bool:
    """Tell whether the resin is changed now; by plan that is done in the evening."""
    spent = tank.shown_mg_l >= tank.change_at_mg_l
    planned = tank.counter_l + USUAL_DAY_L > tank.change_at_counter_l
    return spent or (evening and (planned or seals_cannot_wait(duty, tank)))


def read(duty: Duty, tank: Tank, at: datetime) -> None:
    """Read inlet and outlet from flowing water."""
    tank.draw(SAMPLE_L, duty.water)
    tank.shown_mg_l = duty.meter.shown_mg_l(tank.bed.outlet_us_cm(duty.water))
    inlet_us_cm = duty.water.conductivity_us_cm
    fields: Row = {
        "inlet_tds": duty.meter.shown_mg_l(inlet_us_cm),
        "outlet_tds": tank.shown_mg_l,
        "water_temperature": round(duty.water.temperature_c, 1),
        "meter": duty.meter.meter,
        "sampled": None if duty.strikes("sampling left blank", tank.name) else "flowing",
        "counter": round(tank.counter_l),
        "source": duty.water.source.source,
    }
    if duty.day.weekday() == 0:
        fields["inlet_conductivity"] = duty.meter.shown_us_cm(inlet_us_cm)
    duty.write_of(tank, "reading", at, fields)


@dataclass(frozen=True)
class Job:
    """A job at a customer's: its number, the class of its vehicles and how many they are."""

    job: str
    vehicle_class: str
    vehicles: int


def todays_jobs(duty: Duty) -> list[Job]:
    """Return the day's jobs; nobody rinses more than so many vehicles between two readings."""
    busy = BUSY_SEASON[duty.day.month - 1] * BUSY_WEEKDAY[duty.day.weekday()]
    wanted = max(1, min(MOST_JOBS, int(duty.rng.poisson(duty.van.jobs * busy))))
    classes, shares = list(duty.van.work), list(duty.van.work.values())
    jobs: list[Job] = []
    left = MOST_VEHICLES
    for number in range(1, wanted + 1):
        chosen = str(duty.rng.choice(classes, p=shares))
        vehicles = min(left, 1 + duty.minute(VEHICLES_PER_JOB[chosen] - 1))
        left -= vehicles
        if vehicles:
            jobs.append(Job(f"J-{duty.day:%y%m%d}-{number}", chosen, vehicles))
    return jobs


def rinse(duty: Duty, tank: Tank, at: datetime, job: Job, complaints: Complaints) -> None:
    """Rinse the vehicles of a job and log it."""
    per_vehicle = WATER_PER_RINSE_L[job.vehicle_class] * (1 + WATER_SCATTER * duty.rng.normal())
    water_l = job.vehicles * float(per_vehicle)
    tank.draw(water_l, duty.water)
    named = not duty.strikes("rinse without a name", tank.name)
    washed = duty.strikes("washed with deionised water", tank.name)
    fields: Row = {
        "by": duty.by if named else None,
        "vehicle_class": job.vehicle_class,
        "rinses": job.vehicles,
        "water_used": round(water_l),
        "counter": round(tank.counter_l),
        "flow": round(tank.plan.size.flow_l_min + 0.2 * float(duty.rng.normal()), 1),
        **pressures(duty, tank),
        "purpose": "wash and rinse" if washed else "rinse",
        "source": duty.water.source.source,
        "job": job.job,
    }
    duty.write_of(tank, "rinse", at, fields)
    spotted = tank.bed.outlet_us_cm(duty.water) > SPOTS_US_CM
    if spotted and duty.rng.random() < SHARE_WHO_COMPLAIN:
        complaints.waiting[duty.van.van] = {"vehicle_class": job.vehicle_class, "job": job.job}


def pressures(duty: Duty, tank: Tank) -> Row:
    """Return the pressures of a job: with the outlet shut, and while water flows [kPa]."""
    static = 420 + 25 * float(duty.rng.normal())
    if duty.strikes("pressure above the plate", tank.name):
        static = 655
    flowing = static * (0.72 + 0.02 * float(duty.rng.normal()))
    return {"inlet_pressure": 10 * round(flowing / 10), "static_pressure": round(static)}


def answer_complaint(duty: Duty, complaints: Complaints) -> None:
    """Log what a customer reports of the last working day's rinse; the vehicle is rinsed again."""
    job = complaints.waiting.pop(duty.van.van, None)
    if job is not None:
        complain(duty, duty.at(8, 20), job, rinsed_again="yes")


def complain(duty: Duty, at: datetime, job: Row, rinsed_again: str) -> None:
    """Log a complaint of spots."""
    fields: Row = {**job, "complaint": "spots", "rinsed_again": rinsed_again}
    duty.write("complaint", at, duty.van.van, fields)
