"""What facts are called in plain words; a fact that is not listed goes by its name."""

import re
from collections.abc import Mapping

NOUNS: Mapping[str, str] = {
    "authority": "the authority behind the service",
    "bed_flow": "the flow through the bed",
    "bed_velocity": "the velocity of the water in the bed",
    "by": "who did it",
    "change": "the kind of change",
    "charge_age": "the age of the charge",
    "charge_capacity": "the capacity of the charge",
    "charge_equivalents": "what the charge has taken up",
    "charge_resin_volume": "the volume of resin in the charge",
    "charge_rinses": "the number of vehicles rinsed on the charge",
    "charge_water": "the water through the charge",
    "class_water_per_rinse": "the water that a vehicle of this class takes",
    "complaint": "the complaint",
    "destination": "where the resin went",
    "expected_outlet": "the outlet TDS that the model expects",
    "flush_time": "the flushing time",
    "freeboard_max": "the greatest freeboard in the register",
    "freeboard_min": "the least freeboard in the register",
    "grade": "the grade of the resin",
    "grade_greatest_flow": "the greatest flow for this grade",
    "grade_least_flow": "the least flow for this grade",
    "grade_outlet_after": "what the outlet of this grade may read when fresh and flushed",
    "head_seal_age": "the time since the head seal was last replaced",
    "inlet_as_tds": "inlet TDS (as shown, or from conductivity)",
    "inlet_conductivity": "inlet conductivity",
    "inlet_pressure": "the inlet pressure while water flows",
    "inlet_tds": "inlet TDS",
    "last_outlet_age": "the time since the outlet was last read",
    "last_outlet_tds": "the last outlet TDS read on this charge from flowing water",
    "last_record_age": "the time since the last record",
    "leak_seen": "the place of any leak",
    "least_full_charge": "the least resin of a full charge",
    "litres_left": "the water left by calculation",
    "local_rule": "the local rule",
    "lot": "the lot of the resin",
    "lubricant": "the lubricant",
    "meter_check_age": "the time since the last check of the meter",
    "meter_error": "the error of the meter before adjustment",
    "meter_error_after": "the error of the meter after adjustment",
    "meter_factor": "the conversion factor of the meter",
    "meter_resolution": "the resolution of the meter",
    "origin": "the origin of the resin",
    "no_examination_by": "who says that the vessel needs no periodic examination",
    "no_examination_document": "the document that says so",
    "outlet_as_tds": "outlet TDS (as shown, or from conductivity)",
    "outlet_conductivity": "outlet conductivity",
    "outlet_tds": "outlet TDS",
    "outlet_tds_after": "outlet TDS after the change",
    "outlet_tds_before": "outlet TDS before the change",
    "ph": "the pH",
    "port_seal_age": "the time since the port seals were last replaced",
    "pressure_before_opening": "the pressure before opening",
    "rated_pressure": "the greatest pressure on the data plate",
    "rated_rinses": "the number that the rule of thumb gives it",
    "rated_temperature": "the greatest temperature on the data plate",
    "resin_volume": "the volume of resin",
    "result": "the result of the service",
    "rinse_water": "the water of the rinse",
    "rinses": "the number of vehicles rinsed",
    "rinses_since_reading": "the number of vehicles rinsed since the outlet was last read",
    "riser_seal_age": "the time since the riser seal was last replaced",
    "sampled": "the water sampled",
    "seal_material": "the material of the seal",
    "service": "the kind of service",
    "shown_after": "what the meter showed after adjustment",
    "shown_before": "what the meter showed before adjustment",
    "spent_resin_held": "the spent resin held",
    "spent_resin_held_for": "the time for which the oldest spent resin has been held",
    "standard_conductivity": "the conductivity of the standard",
    "standard_lot": "the lot of the standard",
    "static_pressure": "the pressure with the outlet shut",
    "used_fraction": "the share of the charge's capacity that is used up",
    "vessel_result": "the result that stands for the vessel",
    "vessel_service_age": "the time since the latest service of the vessel",
    "water_counted": "the water by the counter",
    "water_logged": "the water as logged",
    "working_days_silent": "the number of working days without a record",
}

DAYS_TO: Mapping[str, str] = {
    "standard_use_by_in": "the use-by date of the standard",
    "vessel_due_in": "the day on which the next service of the vessel is due",
}
"""Facts that count the days left to a date."""

STATEMENTS: Mapping[str, tuple[str, str]] = {
    "base_known": (
        "a van or a source stands in the register at the base",
        "no van and no source stands in the register at the base",
    ),
    "charge_known": (
        "the beginning of the charge is on record",
        "the beginning of the charge is not on record",
    ),
    "class_known": (
        "the vehicle class stands in the register",
        "the vehicle class does not stand in the register",
    ),
    "depressurised": ("the pressure was released", "the pressure was not released"),
    "examination_followed": (
        "a later examination found the vessel fit",
        "no later examination found the vessel fit",
    ),
    "grade_known": (
        "a model speaks for the grade of the resin",
        "no model speaks for the grade of the resin",
    ),
    "head_closed_to_instruction": (
        "the head was closed to its instruction",
        "the head was not closed to its instruction",
    ),
    "incident_open": (
        "the vessel stands unexamined after an incident",
        "no incident stands without an examination of the vessel",
    ),
    "isolated": ("the tank was isolated", "the tank was not isolated"),
    "lowers_tds": ("the bed lowers TDS", "the bed does not lower TDS"),
    "lubrication_logged": (
        "a lubrication of a seal is logged with the change",
        "no lubrication of a seal is logged with the change",
    ),
    "meter_known": (
        "the meter stands in the register",
        "the meter does not stand in the register",
    ),
    "out_of_use": ("the equipment is out of use", "the equipment is not out of use"),
    "reading_followed": (
        "the same van read the outlet of a tank afterwards",
        "the same van read no outlet afterwards",
    ),
    "replaced": ("the seal was replaced", "the seal was not replaced"),
    "rinsed_again": ("the vehicle was rinsed again", "the vehicle was not rinsed again"),
    "riser_checked": ("the riser was checked", "the riser was not checked"),
    "sealing_faces_clean": (
        "the sealing faces were clean",
        "the sealing faces were not clean",
    ),
    "softening_bed": ("the bed is a softening bed", "the bed is not a softening bed"),
    "source_known": (
        "the source of water stands in the register",
        "the source of water does not stand in the register",
    ),
    "tank_known": ("the tank stands in the register", "the tank does not stand in the register"),
    "van_known": ("the van stands in the register", "the van does not stand in the register"),
    "vessel_authority_stated": (
        "each of the latest services of the vessel states its authority",
        "not each of the latest services of the vessel states its authority",
    ),
    "vessel_examined": (
        "an examination of the vessel on data plate, local code or written scheme is on record",
        "no examination of the vessel on data plate, local code or written scheme is on record",
    ),
    "withdrawn": ("the tank was taken out of use", "the tank was not taken out of use"),
}
"""Facts that are yes or no: what yes says, and what no says."""

_CAPITALS = re.compile(r"\b(tds|ph)\b")
_ALWAYS = {"tds": "TDS", "ph": "pH"}


def named(name: str) -> str:
    """Return a name as words: ``outlet_tds`` as ``outlet TDS``."""
    words = name.replace("_", " ").replace("-", " ")
    return _CAPITALS.sub(lambda found: _ALWAYS[found[0]], words)


def noun(name: str) -> str:
    """Return what a fact of a number or of words is called."""
    return NOUNS.get(name) or DAYS_TO.get(name) or f"the {named(name)}"


def statement(name: str, holds: bool) -> str:
    """Return what a fact that is yes or no says, if it holds or if it does not."""
    if name in STATEMENTS:
        return STATEMENTS[name][0 if holds else 1]
    return f"“{named(name)}” is {'yes' if holds else 'no'}"
