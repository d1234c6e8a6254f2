"""What each form asks, in the order of the work, with what to do and to mind at each step.

The steps and cautions are common practice, no published source; the data plate, the local code and
licensed or competent persons go before them.
"""

from collections.abc import Iterator
from dataclasses import dataclass

PLATE = (
    "The vessel's data plate, the local code and a licensed or competent person decide what may be "
    "done here and by whom. This page reminds and records; it allows nothing."
)
PRESSURE = (
    "A vessel under pressure can kill. Open nothing before a gauge on it shows zero; water that "
    "has stopped running proves nothing. If the gauge does not fall, stop and call a competent "
    "person."
)
HEAVY = (
    "Full of wet resin, a tank is heavier than it looks: two people or a lifting aid. Spilt beads "
    "roll like ball bearings: sweep them up before anybody walks there. Wear gloves and glasses."
)
SPENT = (
    "Keep resin out of drains and off the ground. The local rule for waste decides where it goes; "
    "resin that took up wash water may count as something else than resin of fresh water only."
)
HARMED = (
    "A vessel that was dropped, frozen, overheated or over-pressured may burst later without a "
    "warning. Take it out of use, let the pressure off only if that is safe, keep people away, and "
    "have it examined by a competent person before it holds pressure again."
)


@dataclass(frozen=True)
class Step:
    """One part of a form.

    Attributes:
        fields: what it asks, by name of the record's field.
        says: what to do there; None where there is nothing to say.
        cautions: what to mind while doing it.
    """

    fields: tuple[str, ...]
    says: str | None = None
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """The form of one kind of record.

    Attributes:
        title: what is logged, in a word or two.
        hint: what it is for, shown on its tile.
        steps: what it asks, in order.
        more: fields that are seldom needed.
        cautions: what holds for the whole of the work.
    """

    title: str
    hint: str
    steps: tuple[Step, ...]
    more: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def fields(self) -> Iterator[str]:
        """Yield the names of all fields that it asks."""
        for step in self.steps:
            yield from step.fields
        yield from self.more


SHEETS = {
    "rinse": Sheet(
        "Rinse",
        "vehicles and water",
        (Step(("vehicle_class", "rinses", "water_used", "counter", "purpose")),),
        ("flow", "inlet_pressure", "static_pressure", "source", "job"),
    ),
    "reading": Sheet(
        "Reading",
        "outlet and inlet",
        (Step(("sampled", "outlet_tds", "inlet_tds", "meter", "water_temperature", "counter")),),
        ("outlet_conductivity", "inlet_conductivity", "colour_front", "source"),
    ),
    "resin_change": Sheet(
        "Resin change",
        "step by step",
        (
            Step(
                ("change", "outlet_tds_before", "counter"),
                "While water still flows, read the outlet once more. Then say what will be done.",
            ),
            Step(("isolated",), "Isolate: close the inlet, then the outlet, and all other feeds."),
            Step(
                ("depressurised", "pressure_before_opening"),
                "Let the pressure off until a gauge on the vessel shows zero. Leave the vent open.",
                (PRESSURE,),
            ),
            Step(
                ("riser_checked",),
                "Open and empty the tank. Look over the riser: whole, clean and seated.",
                (HEAVY, SPENT),
            ),
            Step(
                ("grade", "lot", "resin_volume", "resin_mass", "freeboard"),
                "Fill with the riser covered. Copy grade and lot from the bag; measure the space "
                "above the bed.",
            ),
            Step(
                ("sealing_faces_clean", "head_closed_to_instruction"),
                "Wipe every bead off threads, faces and seals. Close the head as its maker says.",
                ("One bead under a seal is a leak. A head forced tight can fail under pressure.",),
            ),
            Step(
                ("leak_seen", "flush_time"),
                "Stand aside, let water in slowly, let the air out. Look for leaks, then flush.",
            ),
            Step(("outlet_tds_after",), "Read the outlet from flowing water."),
        ),
        cautions=(PLATE,),
    ),
    "seal_service": Sheet(
        "Seals",
        "clean, grease, replace",
        (
            Step((), "Isolate the tank: close the inlet, then the outlet, and all other feeds."),
            Step((), "Let the pressure off until a gauge on the vessel shows zero.", (PRESSURE,)),
            Step(
                ("seal", "seal_material"),
                "Take the seal out and look at it: cuts, flat places, swelling, stuck beads.",
            ),
            Step(
                ("replaced", "lubricant"),
                "Replace it if in doubt. Grease it with what its maker names for that material.",
                ("Petroleum grease swells and weakens EPDM: read the tube before you open it.",),
            ),
            Step((), "Close, let water in slowly while standing aside, and look for leaks."),
        ),
        cautions=(PLATE,),
    ),
    "vessel_service": Sheet(
        "Vessel",
        "examination or test",
        (
            Step(
                ("service", "authority"),
                "Read the data plate and the local code: which examination is due, and on whose "
                "authority.",
            ),
            Step(
                ("competent_person",),
                "The examination is the competent person's. Isolate, and let the pressure off "
                "until a gauge shows zero, before anybody opens the vessel.",
                (PRESSURE, HEAVY),
            ),
            Step(
                ("test_pressure",),
                "If it was pressure tested: copy the pressure from the report.",
                ("A pressure test is for those who are licensed for it, never with air.",),
            ),
            Step(
                ("result", "next_due"),
                "Copy the result and the next date from the report; do not judge it yourself.",
            ),
        ),
        cautions=(PLATE,),
    ),
    "meter_check": Sheet(
        "Meter check",
        "against a standard",
        (
            Step(
                (
                    "meter",
                    "standard_conductivity",
                    "water_temperature",
                    "shown_before",
                    "shown_after",
                )
            ),
            Step(("standard_lot", "standard_use_by")),
        ),
    ),
    "disposal": Sheet(
        "Disposal",
        "spent resin handed on",
        (
            Step(
                ("base", "origin"),
                "Say where the resin was kept and what water it saw; keep the two sorts apart.",
                (SPENT,),
            ),
            Step(
                ("resin_volume",),
                "Measure how much goes, drained and closed up.",
                (HEAVY,),
            ),
            Step(
                ("destination", "carrier"), "Hand it to somebody who may carry and take such waste."
            ),
            Step(
                ("waste_code", "local_rule", "document"),
                "Copy code, rule and number from the paper that goes with it, and keep the paper.",
            ),
        ),
        cautions=("The local rule for waste and who is licensed for it decide, not this page.",),
    ),
    "incident": Sheet(
        "Something happened",
        "drop, frost, heat, leak",
        (
            Step((), "People first: stop work, keep everybody away from the vessel."),
            Step(
                ("incident",),
                "Isolate it if that is safe, and let the pressure off until a gauge shows zero.",
                (PRESSURE,),
            ),
            Step(
                ("action",),
                "Mark the tank, take it out of use and say here what was done.",
                (HEAVY,),
            ),
        ),
        cautions=(HARMED, PLATE),
    ),
    "complaint": Sheet(
        "Complaint",
        "what the customer saw",
        (Step(("complaint", "vehicle_class", "rinsed_again", "job")),),
    ),
}
"""The forms by kind of record, in the order of their tiles."""

NAMED = {
    "sampled": "Sampled from",
    "outlet_tds": "Outlet",
    "inlet_tds": "Inlet",
    "outlet_tds_before": "Outlet before",
    "outlet_tds_after": "Outlet after",
    "rinses": "Vehicles rinsed",
    "counter": "Water counter",
    "purpose": "Used for",
    "flow": "Flow",
    "job": "Job number",
    "change": "What is done",
    "depressurised": "Pressure let off to zero",
    "pressure_before_opening": "Gauge before opening",
    "riser_checked": "Riser checked",
    "sealing_faces_clean": "Sealing faces clean",
    "head_closed_to_instruction": "Head closed as its maker says",
    "leak_seen": "Leak seen at",
    "freeboard": "Space above the bed",
    "colour_front": "Height of the colour front",
    "seal": "Which seal",
    "seal_material": "Material of the seal",
    "service": "Examination or test",
    "authority": "On whose authority",
    "next_due": "Next due",
    "shown_before": "Shown before adjusting",
    "shown_after": "Shown after adjusting",
    "standard_conductivity": "Standard solution",
    "standard_lot": "Lot of the standard",
    "standard_use_by": "Standard to be used by",
    "origin": "The resin saw",
    "document": "Number of the paper",
    "incident": "What happened",
    "action": "What was done about it",
    "complaint": "What was seen",
    "water_temperature": "Water temperature",
}


def label_of(name: str) -> str:
    """Return what a form calls a field."""
    return NAMED.get(name, name.replace("_", " ").capitalize().replace(" tds", " TDS"))
