"""What is not daily work: vessels examined, meters checked, incidents, vans standing still."""

from datetime import date, datetime, timedelta

from qa_engine.demo.duty import Duty, Tank
from qa_engine.demo.log import Row
from qa_engine.demo.working_days import STAND_DOWNS, next_working_day

YEAR = timedelta(days=365)
EXAMINE_EVERY = YEAR
LOOK_EVERY = timedelta(days=182)
EXAMINE_AHEAD = timedelta(days=12)
"""How long before the day due the competent person comes."""

LOOK_AHEAD = timedelta(days=7)
HYDROSTATIC_YEARS = 3
TEST_PRESSURE = 1.5
"""Test over rated pressure [1]; in this story the local code's figure."""

COMPETENT_PERSON = "CP-1"
CHECK_METER_BY = timedelta(days=28)
"""Age of a meter check by which the next one is made."""

STANDARD_US_CM = 84.0
"""Conductivity of the standard solution in every van, at 25 degC [uS/cm]."""

STANDARD_SHELF_LIFE = timedelta(days=240)
WETTED_DRIFT_PER_DAY = -0.005
"""What a wetted meter loses of its gain [1/d]."""

FROST = date(2026, 1, 19)
"""The morning on which tank T04 was found frozen."""

AFTER_FROST = date(2026, 1, 23)
"""The day on which it was examined."""

FROZEN_TANK = "T04"


def first_services(duty: Duty, tank: Tank, at: datetime) -> None:
    """Log the services with which a tank begins: examined, looked at and tested."""
    examine(duty, tank, at, tank.examine_by)
    look(duty, tank, at + timedelta(minutes=5), tank.look_by)
    fields = vessel_fields("hydrostatic", "local code", duty.day + HYDROSTATIC_YEARS * YEAR)
    fields["test_pressure"] = round(tank.plan.size.rated_pressure_kpa * TEST_PRESSURE)
    fields["competent_person"] = COMPETENT_PERSON
    duty.write_of(tank, "vessel_service", at + timedelta(minutes=40), fields)


def vessel_services(duty: Duty, tank: Tank, next_day: date) -> None:
    """Log the examinations of a tank that fall due before long."""
    put_off = duty.strikes("overdue vessel", tank.name)
    if tank.examine_by - EXAMINE_AHEAD < next_day and not put_off:
        examine(duty, tank, duty.at(7, 10), duty.day + EXAMINE_EVERY)
    if tank.look_by - LOOK_AHEAD < next_day:
        look(duty, tank, duty.at(7, 25), duty.day + LOOK_EVERY)


def examine(duty: Duty, tank: Tank, at: datetime, next_due: date) -> str:
    """Log a periodic examination by the competent person and return the record's id."""
    tank.examine_by = next_due
    fields = vessel_fields("periodic", "written scheme", next_due)
    return duty.write_of(
        tank, "vessel_service", at, {**fields, "competent_person": COMPETENT_PERSON}
    )


def look(duty: Duty, tank: Tank, at: datetime, next_due: date) -> None:
    """Log a visual examination by the crew."""
    tank.look_by = next_due
    blank = duty.strikes("service without authority", tank.name)
    fields = vessel_fields("visual", None if blank else "operator policy", next_due)
    duty.write_of(tank, "vessel_service", at, fields)


def vessel_fields(service: str, authority: str | None, next_due: date) -> Row:
    """Return what every vessel service states."""
    return {
        "service": service,
        "authority": authority,
        "result": "fit",
        "next_due": next_due.isoformat(),
    }


def check_meter_if_due(duty: Duty, last_check: date | None, next_day: date) -> date:
    """Check the van's meter if it cannot wait for the next working day; return the last check."""
    if last_check is not None and next_day - last_check <= CHECK_METER_BY:
        return last_check
    before = duty.meter.shown_us_cm(STANDARD_US_CM)
    duty.meter.adjust()
    if duty.strikes("drifting meter", duty.meter.meter):
        duty.meter.drift_per_day = WETTED_DRIFT_PER_DAY
    fields: Row = {
        "meter": duty.meter.meter,
        "standard_conductivity": STANDARD_US_CM,
        "shown_before": before,
        "shown_after": duty.meter.shown_us_cm(STANDARD_US_CM),
        "water_temperature": round(duty.water.temperature_c + 4, 1),
        "standard_lot": f"K{duty.day:%y}{'AB'[duty.day.month > 6]}",
        "standard_use_by": (duty.day + STANDARD_SHELF_LIFE).isoformat(),
    }
    duty.write("meter_check", duty.at(7, 5), duty.meter.meter, fields)
    return duty.day


def frost(duty: Duty, tank: Tank) -> None:
    """Deal with a frozen tank as one should: out of use, examined, then back."""
    if tank.name == FROZEN_TANK and duty.day == FROST:
        fields: Row = {"incident": "freeze", "action": "taken out of use, examination asked for"}
        basis = duty.write_of(tank, "incident", duty.at(7, 30), fields)
        write_use(duty, "out_of_use", duty.at(7, 35), tank.name, "frozen overnight", basis)
        tank.usable = False
    if tank.name == FROZEN_TANK and duty.day == AFTER_FROST:
        basis = examine(duty, tank, duty.at(17, 20), duty.day + EXAMINE_EVERY)
        write_use(duty, "return_to_use", duty.at(17, 45), tank.name, "examined and fit", basis)
        tank.usable = True


def drop(duty: Duty, tank: Tank) -> None:
    """Log a tank that fell; nobody has it examined."""
    if duty.strikes("dropped tank", tank.name):
        fields: Row = {"incident": "drop", "action": "looked at it, used on"}
        duty.write_of(tank, "incident", duty.at(17, 30), fields)


def stand_down(duty: Duty, next_day: date) -> None:
    """Log at the end of the last day that the van will not work for a while."""
    for pause in STAND_DOWNS:
        if pause.van == duty.van.van and duty.day < pause.first and pause.last < next_day:
            write_use(duty, "out_of_use", duty.at(17, 50), pause.van, pause.reason)


def come_back(duty: Duty) -> None:
    """Log on the first day after a stand-down that the van works again."""
    for pause in STAND_DOWNS:
        if pause.van == duty.van.van and duty.day == next_working_day(pause.van, pause.last):
            write_use(duty, "return_to_use", duty.at(7, 0), pause.van, f"{pause.reason} is over")


def write_use(
    duty: Duty, kind: str, at: datetime, item: str, reason: str, basis: str | None = None
) -> None:
    """Log that a van, tank or meter is taken out of use or back."""
    duty.write(kind, at, item, {"item": item, "reason": reason, "basis": basis})
