"""Resin changes, with their checklist and the seals that go with them."""

import math
from datetime import datetime, timedelta

from numpy.random import Generator

from qa_engine.demo.duty import Duty, Tank
from qa_engine.demo.fleet import STANDARD_GRADE, TRIAL_GRADE, Size
from qa_engine.demo.log import Row
from qa_engine.demo.simulation import CAPACITY_EQ_L, Bed

SEALS = ("head", "riser", "port")
RENEW_SEALS_AFTER = timedelta(days=280)
"""The age from which a crew brings new seals to the next resin change."""

RENEW_SEALS_BY = timedelta(days=355)
"""The age at which it no longer waits for the resin to be spent."""

PLANNED_MG_L = 5.0
"""Outlet reading at which a charge is changed by plan, the same evening [mg/L]."""

PLANNED_SHARE = 0.88
"""Share of a charge's capacity that the office plans to use, as it reckons it [1]."""

BUSY_MG_L = 20.0
"""Outlet reading at which even a busy crew changes: the house limit [mg/L]."""

BUSY_SHARE = 0.04
"""Share of the charges that a busy crew runs to the house limit [1]."""

TRIAL_SHARE = 0.75
"""Capacity of the trial grade over the standard one, an invention [1]."""

FRESH_US_CM = 0.6
"""Conductivity of the outlet once a fresh bed is flushed [uS/cm]."""


def new_bed(size: Size, rng: Generator, share: float = 1.0) -> Bed:
    """Return a fresh bed in a tank of this size, loaded with a share of its full charge."""
    resin_l = round(size.charge_l * share + 0.15 * float(rng.normal()), 1)
    return Bed.fresh(resin_l, size.charge_l, rng)


def plan_next_change(duty: Duty, tank: Tank, usual_capacity_eq: float) -> None:
    """Set when a new charge will be changed: by litres or by the outlet, whichever comes first.

    Busy crews go by the outlet alone, and only by the house limit.
    """
    planned_l = PLANNED_SHARE * usual_capacity_eq / duty.water.anions_meq_l * 1000
    busy = duty.rng.random() < BUSY_SHARE
    tank.change_at_mg_l = BUSY_MG_L if busy else PLANNED_MG_L
    tank.change_at_counter_l = math.inf if busy else tank.counter_l + planned_l


def freeboard_mm(size: Size, resin_l: float) -> int:
    """Return the free height above a bed in a straight shell, rounded as by a folding rule [mm]."""
    area_mm2 = math.pi / 4 * size.bore_mm**2
    return round((size.vessel_volume_l - resin_l) * 1e6 / area_mm2)


def seals_cannot_wait(duty: Duty, tank: Tank) -> bool:
    """Tell whether the seals no longer wait for the resin to be spent."""
    return duty.day - tank.seals_renewed_on >= RENEW_SEALS_BY


def change_resin(duty: Duty, tank: Tank, at: datetime, *, first: bool = False) -> None:
    """Change a tank's resin, see to its seals, flush it, read it and log it all.

    At ``first`` the supplier exchanges the whole tank; later the crew empties and refills it.
    """
    shown_before_mg_l = tank.shown_mg_l
    refill(duty, tank)
    flush_min = 2.5 + duty.minute(5) / 2
    tank.shown_mg_l = duty.meter.shown_mg_l(FRESH_US_CM)
    tank.draw(flush_min * tank.plan.size.flow_l_min, duty.water)
    duty.write_of(
        tank,
        "resin_change",
        at,
        {
            "change": "tank exchanged" if first else change_for(tank.grade),
            "grade": tank.grade,
            "lot": f"{tank.grade[0].upper()}{duty.day:%y}-{(duty.day.month + 2) // 3}",
            "resin_volume": tank.bed.resin_l,
            **checklist(duty, tank),
            "freeboard": freeboard_mm(tank.plan.size, tank.bed.resin_l),
            "flush_time": flush_min,
            "outlet_tds_before": shown_before_mg_l,
            "outlet_tds_after": tank.shown_mg_l,
            "counter": round(tank.counter_l),
        },
    )
    service_seals(duty, tank, at)


def change_for(grade: str) -> str:
    """Return how resin of a grade gets into a tank: the trial grade comes and goes in its own."""
    return "tank exchanged" if grade == TRIAL_GRADE else "emptied and refilled"


def refill(duty: Duty, tank: Tank) -> None:
    """Put a fresh bed into a tank."""
    half = duty.strikes("half charge", tank.name)
    on_trial = duty.strikes("grade without a model", tank.name)
    tank.bed = new_bed(tank.plan.size, duty.rng, 0.5 if half else 1.0)
    tank.grade = TRIAL_GRADE if on_trial else STANDARD_GRADE
    kept = TRIAL_SHARE if on_trial else 1.0
    tank.bed.capacity_eq *= kept
    plan_next_change(duty, tank, tank.bed.resin_l * CAPACITY_EQ_L * kept)


def checklist(duty: Duty, tank: Tank) -> Row:
    """Return the checklist of opening and closing a tank."""
    unchecked = duty.strikes("riser not checked", tank.name)
    return {
        "isolated": "yes",
        "depressurised": "yes",
        "pressure_before_opening": 0,
        "riser_checked": "no" if unchecked else "yes",
        "sealing_faces_clean": "yes",
        "head_closed_to_instruction": "yes",
        "leak_seen": "none",
    }


def service_seals(duty: Duty, tank: Tank, at: datetime) -> None:
    """Grease the head seal; once a year replace all seals."""
    if duty.strikes("skipped lubrication", tank.name):
        return
    renew = duty.day - tank.seals_renewed_on >= RENEW_SEALS_AFTER
    if renew:
        tank.seals_renewed_on = duty.day
    for seal in SEALS if renew else SEALS[:1]:
        lacking = seal == "head" and duty.strikes("head seal not renewed", tank.name)
        write_seal(duty, tank, at, seal, replaced=renew and not lacking)


def write_seal(duty: Duty, tank: Tank, at: datetime, seal: str, *, replaced: bool) -> None:
    """Log the service of one seal."""
    wrong = seal == "head" and duty.strikes("petroleum lubricant", tank.name)
    fields: Row = {
        "seal": seal,
        "seal_material": tank.plan.seal_material,
        "lubricant": "petroleum" if wrong else "silicone",
        "replaced": "yes" if replaced else "no",
    }
    duty.write_of(tank, "seal_service", at, fields)
