"""Who and what: an invented coach and minibus rinsing company on an island that no map shows.

Nobody and nothing here is real. The vans are called after wet weather and running water, the
bases after places that do not exist; people are numbers.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

OPERATOR = "Ninepuddle Coach Rinsing (invented)"
TIME_ZONE = "Atlantic/Azores"
"""Its clocks skip midnight itself each spring, so days that begin at one o'clock occur."""

ZONE = ZoneInfo(TIME_ZONE)
FIRST_DAY = date(2025, 2, 1)
LAST_DAY = date(2026, 7, 31)
AS_OF = datetime(2026, 7, 31, 18, 0, tzinfo=ZONE).astimezone(UTC)
"""The instant at which the demo fleet is looked at: six in the evening of the last day."""

METER_FACTOR = 0.5
"""How every meter here makes TDS of conductivity [mg/L per uS/cm]."""

STANDARD_GRADE = "standard mixed bed"
TRIAL_GRADE = "kelp blend (invented)"
"""A grade that no model speaks for, supplied in its tank for a trial."""

WATER_PER_RINSE_L = {"coach": 120.0, "minibus": 55.0, "motorhome": 130.0, "car": 30.0}
"""Water that one rinse of a vehicle takes [L]."""

VEHICLES_PER_JOB = {"coach": 2, "minibus": 3, "motorhome": 1, "car": 4}
"""The most vehicles of a class that one job has."""


@dataclass(frozen=True)
class SourceOfWater:
    """A tap and its water over the year.

    Attributes:
        conductivity_us_cm, season: yearly mean at 25 degC [uS/cm], and the swing around it [1].
        hardness_share, alkalinity_share: of the cation load, as hardness and as alkalinity [1].
        ph, silica_mg_l: what an analysis finds [1], [mg/L].
        mean_temperature_c, temperature_swing_c: over the year [degC].
    """

    source: str
    base: str
    pre_treatment: str
    conductivity_us_cm: float
    season: float
    hardness_share: float
    alkalinity_share: float
    ph: float
    silica_mg_l: float
    mean_temperature_c: float
    temperature_swing_c: float


@dataclass(frozen=True)
class Size:
    """A size of tank: the shell, its plate, and the charge that belongs in it."""

    vessel_volume_l: float
    bore_mm: float
    rated_pressure_kpa: float
    rated_temperature_c: float
    freeboard_min_mm: float
    freeboard_max_mm: float
    charge_l: float
    flow_l_min: float


@dataclass(frozen=True)
class TankPlan:
    """A tank, the van it belongs to, and the day from which another van has it.

    ``examine_by`` is the day by which its first periodic examination falls due.
    """

    tank: str
    van: str
    size: Size
    seal_material: str
    examine_by: date
    moves_on: date | None = None
    moves_to: str = ""

    def van_on(self, day: date) -> str:
        """Return the van that carries the tank on a day."""
        return self.moves_to if self.moves_on and day >= self.moves_on else self.van


@dataclass(frozen=True)
class VanPlan:
    """A van, its crew and its usual work.

    Attributes:
        jobs: jobs on an ordinary day in spring.
        work: how often each class of vehicle comes, as shares of the jobs.
    """

    van: str
    base: str
    meter: str
    crew: tuple[str, ...]
    jobs: float
    work: dict[str, float]


SOURCES = (
    SourceOfWater(
        "fernstep-tap", "Fernstep", "5 um sediment filter", 330, 0.07, 0.7, 0.6, 7.4, 9, 15, 5
    ),
    SourceOfWater("kettle-spring", "Upper Kettle", "none", 300, 0.10, 0.6, 0.5, 7.1, 18, 11, 6),
    SourceOfWater(
        "crabwater-tap",
        "Crabwater",
        "carbon and sediment filter",
        420,
        0.05,
        0.5,
        0.5,
        7.7,
        7,
        17,
        4,
    ),
)

LARGE = Size(33.0, 200, 700, 40, 150, 300, 25.0, 6.6)
SMALL = Size(24.0, 200, 600, 40, 120, 260, 18.0, 6.0)

TANKS = (
    TankPlan("T01", "Mizzle", SMALL, "EPDM", date(2025, 9, 12)),
    TankPlan("T02", "Mizzle", SMALL, "EPDM", date(2026, 2, 20)),
    TankPlan("T03", "Dewfall", SMALL, "NBR", date(2025, 12, 5)),
    TankPlan("T04", "Hoarfrost", LARGE, "EPDM", date(2026, 3, 20)),
    TankPlan("T05", "Sunshower", SMALL, "EPDM", date(2025, 8, 14)),
    TankPlan("T06", "Sunshower", SMALL, "NBR", date(2025, 10, 10)),
    TankPlan("T07", "Freshet", SMALL, "EPDM", date(2026, 1, 30)),
    TankPlan("T08", "Freshet", SMALL, "EPDM", date(2025, 6, 6)),
    TankPlan("T09", "Dewfall", LARGE, "EPDM", date(2025, 11, 21), date(2025, 11, 3), "Hoarfrost"),
    TankPlan("T10", "Spindrift", LARGE, "NBR", date(2025, 7, 18)),
    TankPlan("T11", "Rill", SMALL, "EPDM", date(2026, 3, 6)),
    TankPlan("T12", "Rill", SMALL, "EPDM", date(2025, 9, 26)),
)

COACHES = {"coach": 0.55, "minibus": 0.35, "car": 0.10}
MINIBUSES = {"coach": 0.20, "minibus": 0.60, "car": 0.20}
VISITORS = {"minibus": 0.35, "motorhome": 0.35, "car": 0.30}

VANS = (
    VanPlan("Mizzle", "Fernstep", "C-1", ("P-01", "P-02"), 1.6, COACHES),
    VanPlan("Dewfall", "Fernstep", "C-2", ("P-03",), 1.4, MINIBUSES),
    VanPlan("Hoarfrost", "Upper Kettle", "C-3", ("P-04", "P-05"), 1.4, MINIBUSES),
    VanPlan("Sunshower", "Upper Kettle", "C-4", ("P-06",), 1.5, VISITORS),
    VanPlan("Freshet", "Crabwater", "C-5", ("P-07", "P-08"), 1.5, MINIBUSES),
    VanPlan("Spindrift", "Crabwater", "C-6", ("P-09",), 1.3, VISITORS),
    VanPlan("Rill", "Crabwater", "C-7", ("P-10", "P-11"), 1.5, COACHES),
)

BASES = tuple(dict.fromkeys(van.base for van in VANS))


def source_of(base: str) -> SourceOfWater:
    """Return the source of water at a base."""
    return next(source for source in SOURCES if source.base == base)
