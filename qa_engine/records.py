"""What a crew can log: the kinds of record, their fields, units and ranges.

These schemas are the only place where a field is declared. The intake's columnar check, the
catalogue of facts and the documentation are all made from them.
"""

from dataclasses import dataclass
from functools import cached_property

from marshmallow import RAISE, Schema

from qa_engine.fields import Day, Identifier, Instant, Quantity, RecordField, Text, Word, YesNo


class Record(Schema):
    """What every record has: who logged what, when and where."""

    class Meta:
        unknown = RAISE

    record = Identifier(required=True)
    kind = Identifier(required=True)
    at = Instant(required=True)
    van = Identifier()
    tank = Identifier()
    by = Identifier()
    note = Text()


class TankRecord(Record):
    """A record about one tank."""

    tank = Identifier(required=True)


class Reading(TankRecord):
    """What the meter showed at a tank's inlet and outlet."""

    inlet_tds = Quantity("mg/L", 0, 50_000)
    outlet_tds = Quantity("mg/L", 0, 50_000)
    inlet_conductivity = Quantity("uS/cm", 0, 100_000)
    outlet_conductivity = Quantity("uS/cm", 0, 100_000)
    water_temperature = Quantity("degC", 0, 100)
    meter = Identifier()
    sampled = Word("flowing", "first flush", "standing")
    counter = Quantity("L", 0, 1e9)
    colour_front = Quantity("%", 0, 100)
    source = Identifier()


class Rinse(TankRecord):
    """Vehicles rinsed from a tank."""

    vehicle_class = Identifier()
    rinses = Quantity("count", 0, 10_000, whole=True)
    water_used = Quantity("L", 0, 100_000)
    counter = Quantity("L", 0, 1e9)
    flow = Quantity("L/min", 0, 1_000)
    inlet_pressure = Quantity("kPa", 0, 5_000)
    static_pressure = Quantity("kPa", 0, 5_000)
    purpose = Word("rinse", "wash", "wash and rinse")
    source = Identifier()
    job = Identifier()


class ResinChange(TankRecord):
    """The resin of a tank changed, and how the tank was opened and closed."""

    change = Word("emptied and refilled", "topped up", "tank exchanged", "regenerated elsewhere")
    grade = Identifier()
    lot = Identifier()
    resin_volume = Quantity("L", 0, 10_000)
    resin_mass = Quantity("kg", 0, 10_000)
    isolated = YesNo()
    depressurised = YesNo()
    pressure_before_opening = Quantity("kPa", 0, 5_000)
    riser_checked = YesNo()
    sealing_faces_clean = YesNo()
    head_closed_to_instruction = YesNo()
    leak_seen = Word("none", "head", "riser", "port")
    freeboard = Quantity("mm", 0, 5_000)
    flush_time = Quantity("min", 0, 1_440)
    outlet_tds_before = Quantity("mg/L", 0, 50_000)
    outlet_tds_after = Quantity("mg/L", 0, 50_000)
    counter = Quantity("L", 0, 1e9)


class SealService(TankRecord):
    """A seal cleaned, lubricated or replaced."""

    seal = Word("head", "riser", "port")
    seal_material = Word("EPDM", "NBR", "VMQ", "FKM", "unknown")
    lubricant = Word("silicone", "petroleum", "other", "none", "unknown")
    replaced = YesNo()


class VesselService(TankRecord):
    """A vessel examined or tested, on whose authority, with what result."""

    service = Word("visual", "periodic", "hydrostatic")
    authority = Word("data plate", "local code", "written scheme", "operator policy")
    result = Word("fit", "fit with limits", "unfit")
    test_pressure = Quantity("kPa", 0, 10_000)
    competent_person = Identifier()
    next_due = Day()


class MeterCheck(Record):
    """A meter held against a standard solution, before and after any adjustment."""

    meter = Identifier(required=True)
    standard_conductivity = Quantity("uS/cm", 0, 100_000)
    shown_before = Quantity("uS/cm", 0, 100_000)
    shown_after = Quantity("uS/cm", 0, 100_000)
    water_temperature = Quantity("degC", 0, 100)
    standard_lot = Identifier()
    standard_use_by = Day()


class Disposal(Record):
    """Spent resin handed on from a base."""

    base = Identifier(required=True)
    resin_volume = Quantity("L", 0, 100_000)
    origin = Word("fresh water", "wash water")
    destination = Text()
    carrier = Text()
    waste_code = Text()
    local_rule = Text()
    document = Text()


class Incident(TankRecord):
    """Something that may have harmed a vessel."""

    incident = Word("drop", "freeze", "overheat", "leak", "over-pressure")
    action = Text()


class Complaint(Record):
    """What a customer saw on a vehicle."""

    van = Identifier(required=True)
    vehicle_class = Identifier()
    job = Identifier()
    complaint = Word("spots", "film", "streaks")
    rinsed_again = YesNo()


class OutOfUse(Record):
    """A van, tank or meter taken out of use."""

    item = Identifier(required=True)
    reason = Text()
    basis = Identifier()


class ReturnToUse(OutOfUse):
    """A van, tank or meter taken back into use."""


class WaterAnalysis(Record):
    """A laboratory's or kit's analysis of a water source."""

    source = Identifier(required=True)
    conductivity = Quantity("uS/cm", 0, 100_000)
    hardness = Quantity("mg/L as CaCO3", 0, 5_000)
    alkalinity = Quantity("mg/L as CaCO3", 0, 5_000)
    ph = Quantity("1", 0, 14)
    silica = Quantity("mg/L", 0, 1_000)
    free_chlorine = Quantity("mg/L", 0, 100)
    method = Text()


@dataclass(frozen=True)
class Kind:
    """One kind of record: its name, its schema and the field that names what it is about."""

    name: str
    schema: type[Record]
    item: str

    @cached_property
    def fields(self) -> dict[str, RecordField]:
        """Return the fields by name, those every record has first."""
        declared = self.schema().fields
        return {name: f for name, f in declared.items() if isinstance(f, RecordField)}

    @cached_property
    def own_fields(self) -> dict[str, RecordField]:
        """Return the fields that not every record has."""
        return {name: f for name, f in self.fields.items() if name not in COMMON}


COMMON = ("record", "kind", "at", "van", "tank", "by", "note")

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("reading", Reading, "tank"),
        Kind("rinse", Rinse, "tank"),
        Kind("resin_change", ResinChange, "tank"),
        Kind("seal_service", SealService, "tank"),
        Kind("vessel_service", VesselService, "tank"),
        Kind("meter_check", MeterCheck, "meter"),
        Kind("disposal", Disposal, "base"),
        Kind("incident", Incident, "tank"),
        Kind("complaint", Complaint, "van"),
        Kind("out_of_use", OutOfUse, "item"),
        Kind("return_to_use", ReturnToUse, "item"),
        Kind("water_analysis", WaterAnalysis, "source"),
    )
}
"""Every kind of record, in the order in which they are documented."""

TANK_KINDS = tuple(name for name, kind in KINDS.items() if kind.item == "tank")
"""The kinds whose records each belong to one tank, and so to one block of tanks."""

RECORD_FIELDS: dict[str, RecordField] = {
    name: field for kind in KINDS.values() for name, field in kind.fields.items()
}
"""Every column that a file of records may have; one name means the same in every kind."""
