"""The demo fleet as files: records in the formats that crews send, and a register."""

import csv
import io
import json
from collections.abc import Iterable
from pathlib import Path

from qa_engine.demo.fleet import (
    FIRST_DAY,
    METER_FACTOR,
    OPERATOR,
    SOURCES,
    TANKS,
    TIME_ZONE,
    VANS,
    WATER_PER_RINSE_L,
    Size,
    SourceOfWater,
    TankPlan,
)
from qa_engine.demo.log import Log, Row

COMMON = ("record", "kind", "at", "van", "tank", "by")
SERVICES = (
    "resin_change",
    "seal_service",
    "vessel_service",
    "incident",
    "complaint",
    "out_of_use",
    "return_to_use",
)
PAPERS = ("disposal", "water_analysis")

RINSE_COLUMNS = {
    "vehicle_class": "vehicle_class",
    "rinses": "rinses",
    "water_used": "water_used [L]",
    "counter": "counter [L]",
    "flow": "flow [L/min]",
    "inlet_pressure": "inlet_pressure [kPa]",
    "static_pressure": "static_pressure [kPa]",
    "purpose": "purpose",
    "source": "source",
    "job": "job",
}
"""The fields of a rinse and how the file's head writes them, the unit beside the name."""

READING_COLUMNS = {
    "inlet_tds": "inlet_tds [mg/L]",
    "outlet_tds": "outlet_tds [mg/L]",
    "inlet_conductivity": "inlet_conductivity [uS/cm]",
    "water_temperature": "water_temperature [degC]",
    "meter": "meter",
    "sampled": "sampled",
    "counter": "counter [L]",
    "source": "source",
}

README = f"""\
{OPERATOR}

Everything in this folder is invented: the company, its island, its vans, people and papers. The
records were made by a small simulation so that there is something to inspect, blemishes included.

records/rinses.csv      vehicles rinsed; units stand in the column heads
records/readings.csv    what the meters showed at inlet and outlet
records/services.csv    resin changes, seals, vessels, incidents, complaints, out of use
records/meters.jsonl    meter checks; numbers carry their unit
records/papers.jsonl    spent resin handed on, water analyses
register.yaml           vans, tanks, meters, vehicle classes and sources of water

Times carry their offset from UTC; the island keeps the clocks of {TIME_ZONE}.
"""


def write_records(log: Log, folder: Path) -> tuple[Path, ...]:
    """Write the records of a log into a folder and return the files."""
    folder.mkdir(parents=True, exist_ok=True)
    texts = {
        "rinses.csv": as_csv(log.of("rinse"), RINSE_COLUMNS),
        "readings.csv": as_csv(log.of("reading"), READING_COLUMNS),
        "services.csv": as_csv(services := log.of(*SERVICES), _columns_of(services)),
        "meters.jsonl": as_json_lines(map(with_units, log.of("meter_check"))),
        "papers.jsonl": as_json_lines(log.of(*PAPERS)),
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return tuple(folder / name for name in texts)


def _columns_of(rows: Iterable[Row]) -> dict[str, str]:
    """Return the columns that rows of several kinds need beside the common ones."""
    names = dict.fromkeys(name for row in rows for name in row if name not in COMMON)
    return {name: name for name in names}


def as_csv(rows: Iterable[Row], columns: dict[str, str]) -> str:
    """Return rows as CSV.

    Args:
        rows: the rows; what a row lacks is left empty.
        columns: the fields beside the common ones, and what the head calls them.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([*COMMON, *columns.values()])
    for row in rows:
        writer.writerow([row.get(name) for name in (*COMMON, *columns)])
    return text.getvalue()


def as_json_lines(rows: Iterable[Row]) -> str:
    """Return rows as JSON Lines; fields left blank are left out."""
    return "".join(
        json.dumps({name: cell for name, cell in row.items() if cell is not None}) + "\n"
        for row in rows
    )


def with_units(check: Row) -> Row:
    """Return a meter check with the unit beside each number, as its form writes them."""
    units = {
        "standard_conductivity": "uS/cm",
        "shown_before": "uS/cm",
        "shown_after": "uS/cm",
        "water_temperature": "degC",
    }
    return {
        name: f"{cell} {units[name]}" if name in units else cell for name, cell in check.items()
    }


def register_text() -> str:
    """Return the register as YAML."""
    parts = (
        "# The register of an invented company. A row with `from` takes over on that day.",
        f"operator:\n  name: {OPERATOR}\n  time_zone: {TIME_ZONE}",
        "\nvans:",
        *(f"  - {{van: {van.van}, base: {van.base}}}" for van in VANS),
        "\n# The limits are those of each tank's data plate.\ntanks:",
        *(row for tank in TANKS for row in _tank_rows(tank)),
        "\n# Every meter makes TDS of conductivity by the factor of a sodium chloride scale.",
        "meters:",
        *(_meter_row(van.meter) for van in VANS),
        "\nvehicle_classes:",
        *(_class_row(name, litres) for name, litres in WATER_PER_RINSE_L.items()),
        "\nsources:",
        *(_source_row(one) for one in SOURCES),
    )
    return "\n".join(parts) + "\n"


def _tank_rows(plan: TankPlan) -> Iterable[str]:
    yield _tank_row(plan.tank, plan.van, plan.size, "")
    if plan.moves_on:
        yield f"  # {plan.tank} moved to another van."
        yield _tank_row(plan.tank, plan.moves_to, plan.size, f"    from: {plan.moves_on}\n")


def _tank_row(tank: str, van: str, size: Size, begins: str) -> str:
    return (
        f"  - tank: {tank}\n{begins}    van: {van}\n"
        f"    vessel_volume: {size.vessel_volume_l:g} L\n"
        f"    bore: {size.bore_mm:g} mm\n"
        f"    rated_pressure: {size.rated_pressure_kpa:g} kPa\n"
        f"    rated_temperature: {size.rated_temperature_c:g} degC\n"
        f"    freeboard_min: {size.freeboard_min_mm:g} mm\n"
        f"    freeboard_max: {size.freeboard_max_mm:g} mm\n"
        f"    in_service_on: {FIRST_DAY}\n"
        "    construction: wound glass fibre on a polyethylene liner\n"
        "    position: single"
    )


def _meter_row(meter: str) -> str:
    return (
        f"  - meter: {meter}\n    accuracy_percent: 2 %\n    accuracy_digits: 1\n"
        f"    resolution: 1 mg/L\n    factor: {METER_FACTOR:g} mg/L per uS/cm\n"
        "    compensation: yes"
    )


def _class_row(name: str, litres: float) -> str:
    return f"  - {{vehicle_class: {name}, water_per_rinse: {litres:g} L}}"


def _source_row(one: SourceOfWater) -> str:
    return f"  - {{source: {one.source}, base: {one.base}, pre_treatment: {one.pre_treatment}}}"
