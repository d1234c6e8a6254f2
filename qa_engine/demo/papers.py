"""What the office keeps for a base: spent resin handed on, and analyses of its water."""

from datetime import date, datetime, time, timedelta

from numpy.random import Generator

from qa_engine.demo.blemishes import Mishaps
from qa_engine.demo.fleet import FIRST_DAY, ZONE
from qa_engine.demo.log import Log, Row
from qa_engine.demo.simulation import CACO3_MG_PER_MEQ, TrueWater

DISPOSE_EVERY = timedelta(days=56)
ANALYSE_EVERY = timedelta(days=91)
OFFICE = "P-20"
EARLY = 6
"""The hour at which the carrier comes, before the vans' work [h]."""

LITRES_DIGITS = 1


class Office:
    """The office's view of one base.

    Attributes:
        base: the base.
        held_l: spent resin in its yard [L].
    """

    def __init__(self, base: str, log: Log, mishaps: Mishaps, rng: Generator) -> None:
        self.base, self.log, self.mishaps, self.rng = base, log, mishaps, rng
        self.held_l = 0.0
        self._disposed_on = FIRST_DAY
        self._analysed_on = FIRST_DAY - ANALYSE_EVERY

    def take_in(self, resin_l: float) -> None:
        """Put spent resin into the yard."""
        self.held_l = round(self.held_l + resin_l, LITRES_DIGITS)

    def day(self, day: date, water: TrueWater) -> None:
        """Do what falls due at the base on a day."""
        if day - self._analysed_on >= ANALYSE_EVERY:
            self._analysed_on = day
            self._analyse(self._at(day, 11), water)
        due = day - self._disposed_on >= DISPOSE_EVERY and self.held_l > 0
        if due and not self.mishaps.strikes("spent resin held", self.base, day):
            self._disposed_on = day
            self._dispose(self._at(day, EARLY), day)

    def _at(self, day: date, hour: int) -> datetime:
        return datetime.combine(day, time(hour, int(self.rng.integers(50))), ZONE)

    def _dispose(self, at: datetime, day: date) -> None:
        blank = self.mishaps.strikes("disposal without local rule", self.base, day)
        fields: Row = {
            "by": OFFICE,
            "base": self.base,
            "resin_volume": self.held_l,
            "origin": "fresh water",
            "destination": "island resin works (invented)",
            "carrier": "cart carrier 4 (invented)",
            "waste_code": "19 09 05",
            "local_rule": None if blank else "island waste by-law 12 (invented)",
            "document": f"CN-{self.base.split()[-1]}-{day:%y%m%d}",
        }
        self.log.add("disposal", at, self.base.replace(" ", ""), fields)
        self.held_l = 0.0

    def _analyse(self, at: datetime, water: TrueWater) -> None:
        source = water.source
        fields: Row = {
            "by": OFFICE,
            "source": source.source,
            "conductivity": round(water.conductivity_us_cm),
            "hardness": round(water.salts_meq_l * source.hardness_share * CACO3_MG_PER_MEQ),
            "alkalinity": round(water.alkalinity_meq_l * CACO3_MG_PER_MEQ),
            "ph": source.ph,
            "silica": source.silica_mg_l,
            "free_chlorine": round(0.1 + 0.05 * float(self.rng.random()), 2),
            "method": "field kit",
        }
        self.log.add("water_analysis", at, source.source, fields)
