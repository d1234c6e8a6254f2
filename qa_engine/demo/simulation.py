"""The physics behind the records: water, a resin bed that is used up, a meter that drifts.

What is true here the crews never see; they see what their meters show.

Sources: what bicarbonate conducts, from calcium bicarbonate water of 200 mg/L as CaCO3, computed
with an aqueous-chemistry program (3.997 meq/L, 369.4 uS/cm at 25 degC); what other salts conduct,
from sodium chloride (M. Frankel, Facility Piping Systems Handbook, Table 4.3: 200 mg/L, hence
3.422 meq/L, 415 uS/cm); free carbon dioxide from alkalinity and pH (pK1 = 6.352 at 25 degC, quoted
after Plummer & Busenberg, Geochim. Cosmochim. Acta 46 (1982) 1011, digits not read there);
breakthrough of an irreversible exchange under film control, by mass balance. Capacity, its
scatter and everything about meters: common practice, no published source.
"""

import math
from dataclasses import dataclass

from numpy.random import Generator

from qa_engine.demo.fleet import METER_FACTOR, SourceOfWater

BICARBONATE_US_CM_PER_MEQ = 92.4
"""Conductivity at 25 degC of a milliequivalent per litre of bicarbonate [uS/cm per meq/L]."""

OTHER_SALT_US_CM_PER_MEQ = 121.3
"""The same of chloride, sulphate and nitrate [uS/cm per meq/L]."""

CACO3_MG_PER_MEQ = 50.04345
SILICA_MG_PER_MEQ = 60.084
CARBONIC_PK1 = 6.352

CAPACITY_EQ_L = 0.52
"""Mean true capacity of a litre of fresh resin for the anions it must hold [eq/L]."""

CAPACITY_SD = 0.04
"""Scatter of true capacity between charges, relative to the mean [1]."""

TRANSFER_UNITS = 20.0
"""How sharply a bed breaks through: film transfer units of a full charge [1]."""

TRANSFER_UNITS_SD = 1.5
WANDER_SD = 0.03
"""Scatter of a source's conductivity about its season [1]; it forgets itself within weeks."""

WANDER_MEMORY = 0.96
"""How much of yesterday's wandering is still there today [1]."""

WARMEST_DAY = 220
"""Day of the year when taps run warmest; mineral content peaks then too [d]."""

METER_NOISE = 0.006
"""Scatter of one reading, relative to what is measured [1]."""

DRIFT_SD_PER_DAY = 0.0003
"""Scatter of the daily drift of a meter's gain between two adjustments [1/d]."""

ADJUSTED_SD = 0.003
"""How exactly a meter shows a standard just after it was adjusted [1]."""


@dataclass(frozen=True)
class TrueWater:
    """The water of a source on one day: conductivity at 25 degC [uS/cm], temperature [degC]."""

    source: SourceOfWater
    conductivity_us_cm: float
    temperature_c: float

    @property
    def salts_meq_l(self) -> float:
        """Return the salts, all of them [meq/L]."""
        bicarbonate = self.source.alkalinity_share
        other = 1 - bicarbonate
        per_meq = bicarbonate * BICARBONATE_US_CM_PER_MEQ + other * OTHER_SALT_US_CM_PER_MEQ
        return self.conductivity_us_cm / per_meq

    @property
    def alkalinity_meq_l(self) -> float:
        """Return the bicarbonate among them [meq/L]."""
        return self.salts_meq_l * self.source.alkalinity_share

    @property
    def anions_meq_l(self) -> float:
        """Return what the anion resin must hold: salts, free carbon dioxide and silica [meq/L]."""
        carbon_dioxide = self.alkalinity_meq_l * 10 ** (CARBONIC_PK1 - self.source.ph)
        return self.salts_meq_l + carbon_dioxide + self.source.silica_mg_l / SILICA_MG_PER_MEQ


def waters(
    source: SourceOfWater, days: int, first_day_of_year: int, rng: Generator
) -> list[TrueWater]:
    """Return the water of a source for so many days from a day of the year on."""
    noise = rng.normal(0, WANDER_SD * math.sqrt(1 - WANDER_MEMORY**2), days)
    wander = 0.0
    result = []
    for day in range(days):
        wander = WANDER_MEMORY * wander + float(noise[day])
        season = math.cos(2 * math.pi * (first_day_of_year + day - WARMEST_DAY) / 365.25)
        conductivity = source.conductivity_us_cm * (1 + source.season * season + wander)
        temperature = source.mean_temperature_c + source.temperature_swing_c * season
        result.append(TrueWater(source, conductivity, temperature))
    return result


@dataclass
class Bed:
    """A resin charge as it truly is.

    Attributes:
        resin_l: resin loaded [L].
        capacity_eq: equivalents it can hold [eq].
        units: film transfer units [1].
        fed_eq: equivalents that have come in so far [eq].
    """

    resin_l: float
    capacity_eq: float
    units: float
    fed_eq: float = 0.0

    @classmethod
    def fresh(cls, resin_l: float, full_charge_l: float, rng: Generator) -> "Bed":
        """Return a fresh bed; a shallow one also has fewer transfer units."""
        capacity = resin_l * CAPACITY_EQ_L * (1 + CAPACITY_SD * rng.normal())
        units = (TRANSFER_UNITS + TRANSFER_UNITS_SD * rng.normal()) * resin_l / full_charge_l
        return cls(resin_l, float(capacity), float(units))

    @property
    def used(self) -> float:
        """Return the share of the capacity that is used [1]."""
        return self.fed_eq / self.capacity_eq

    def feed(self, litres: float, water: TrueWater) -> None:
        """Pass water through the bed."""
        self.fed_eq += litres * water.anions_meq_l / 1000

    def outlet_us_cm(self, water: TrueWater) -> float:
        """Return the outlet's conductivity at 25 degC, without that of pure water [uS/cm]."""
        return breakthrough(self.used, self.units) * water.conductivity_us_cm


def breakthrough(used: float, units: float) -> float:
    """Return outlet over inlet concentration of an irreversible exchange under film control.

    Args:
        used: equivalents fed over equivalents of capacity [1].
        units: film transfer units [1].
    """
    if used < 1 / units:
        return math.exp(-units)
    return min(1.0, math.exp(units * (used - 1) - 1))


class Meter:
    """A hand-held meter: what it shows drifts until it is adjusted."""

    def __init__(self, meter: str, rng: Generator) -> None:
        self.meter, self.rng = meter, rng
        self.gain, self.drift_per_day = 1.0, 0.0
        self.adjust()

    def adjust(self) -> None:
        """Set the meter to its standard; from here on it drifts anew."""
        self.gain = 1 + ADJUSTED_SD * float(self.rng.normal())
        self.drift_per_day = DRIFT_SD_PER_DAY * float(self.rng.normal())

    def age_a_day(self) -> None:
        """Let a day pass."""
        self.gain += self.drift_per_day

    def shown_us_cm(self, conductivity_us_cm: float) -> float:
        """Return what the meter shows of a conductivity, to one decimal [uS/cm]."""
        noise = 1 + METER_NOISE * float(self.rng.normal())
        return round(conductivity_us_cm * self.gain * noise, 1)

    def shown_mg_l(self, conductivity_us_cm: float) -> int:
        """Return what the meter shows as TDS, in whole mg/L."""
        return round(METER_FACTOR * self.shown_us_cm(conductivity_us_cm))
