"""How each tank stands: its charge, the limit that ends it, and what is missing for a forecast."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from qa_engine.asking import known_of
from qa_engine.depletion.inlet import load_of
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.learnt import Outlook, outlook_of
from qa_engine.facts.past import Past
from qa_engine.forecast.limits import EndingLimit, lowest
from qa_engine.history import valid_rows
from qa_engine.subjects import subjects_of

OF_GRADE = ("grade", "charge_known", "softening_bed", "lowers_tds", "grade_known", "out_of_use")
ASKED = (*OF_GRADE, "last_outlet_tds")

OWN = "its own readings"
EARLIER = "earlier charges of the tank; this one has no reading that counts"
PRIOR = "its grade alone; no reading counts"


@dataclass(frozen=True)
class Standing:
    """How tanks stand at the instant of the forecast.

    Attributes:
        tanks: a row per tank, sorted by tank: ``tank``, ``van``, ``base``, ``charge``, ``number``,
            ``grade``, ``resin_volume`` [L], ``limit`` [mg/L], ``limit_rule``, ``limit_edition``,
            ``at_limit``, ``readings``, ``basis``, ``load`` [eq/L], and the facts ``ASKED``.
        outlook: the scenarios of their charges.
    """

    tanks: pl.DataFrame
    outlook: Outlook

    def why_not(self) -> pl.Series:
        """Return why nothing can be said of each tank, null where something can.

        It is the first reason of ``whynot.WHY_NOT`` that applies, days aside.
        """
        begun, named = pl.col("charge_known"), pl.col("grade").is_not_null()
        believed = pl.Series("believed", self.outlook.scenarios.capacity_eq_l[:, 0])
        reasons = {
            "out of use": pl.col("out_of_use"),
            "grade unknown": ~named & begun,
            "softening bed": pl.col("softening_bed"),
            "no model": named & ~pl.col("grade_known"),
            "no limit": pl.col("limit").is_null(),
            "begin unknown": ~begun,
            "volume unknown": pl.col("resin_volume").is_null(),
            "use unknown": pl.col("spent").is_null(),
            "inlet unknown": pl.col("load").is_null(),
            "nothing believed": pl.col("believed").is_nan(),
        }
        spent_eq = pl.Series("spent", self.outlook.spent_eq, nan_to_null=True)
        first = pl.coalesce(
            pl.when(applies.fill_null(value=False)).then(pl.lit(reason))
            for reason, applies in reasons.items()
        )
        frame = self.tanks.with_columns(spent_eq, believed)
        return frame.select(first.alias("why_not"))["why_not"]


def standing_of(past: Past, limits: Sequence[EndingLimit], catalogue: Catalogue) -> Standing:
    """Return how the tanks stand that were known by the instant of the forecast."""
    subjects = subjects_of("tank", past, by_day=False)
    known = known_of("tank", ASKED, subjects, past, catalogue).frame
    charge = past.charge_of(subjects)
    outlook = outlook_of(subjects, past)
    base = valid_rows(subjects.select("van", "at"), past.register, "vans", ["base"])["base"]
    load = load_of(outlook.water, outlook.grades, past.models).alias("load")
    volume = pl.Series("resin_volume", outlook.resin_l, nan_to_null=True)
    tanks = subjects.select("tank", "van", "at").with_columns(
        base, charge["charge"], charge["number"], volume, load, *known
    )
    tanks = tanks.with_columns(*_readings(tanks, past))
    tanks = tanks.with_columns(*_limits(tanks, limits))
    reached = (pl.col("last_outlet_tds") >= pl.col("limit")).fill_null(value=False)
    return Standing(tanks.with_columns(reached.alias("at_limit")), outlook)


def _readings(tanks: pl.DataFrame, past: Past) -> list[pl.Series]:
    """Return how many readings count on each tank's charge, and what it is known from."""
    evidence = past.learning.evidence.select("tank", "number", "grade")
    own = evidence.group_by("tank", "number").agg(pl.len().cast(pl.Int64).alias("readings"))
    before = evidence.select("tank", "grade", earlier=True).unique()
    found = tanks.select("tank", "number", "grade").join(
        own, on=["tank", "number"], how="left", maintain_order="left"
    )
    found = found.join(before, on=["tank", "grade"], how="left", maintain_order="left")
    count = pl.col("readings").fill_null(0)
    basis = (
        pl.when(count > 0)
        .then(pl.lit(OWN))
        .when("earlier")
        .then(pl.lit(EARLIER))
        .otherwise(pl.lit(PRIOR))
    )
    return found.select(count, basis.alias("basis")).get_columns()


def _limits(tanks: pl.DataFrame, limits: Sequence[EndingLimit]) -> list[pl.Series]:
    """Return the limit that ends each charge [mg/L], its rule and edition."""
    found = [
        lowest(limits, {"sampled": "flowing", **row})
        for row in tanks.select("tank", "van", *OF_GRADE).iter_rows(named=True)
    ]
    return [
        pl.Series("limit", [one and one[0] for one in found], pl.Float64),
        pl.Series("limit_rule", [one and f"{one[1].rule_set}/{one[1].rule}" for one in found]),
        pl.Series("limit_edition", [one and one[1].edition for one in found]),
    ]
