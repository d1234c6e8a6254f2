"""What a form offers: tanks, vans and bases of the register, and the names used last.

Names only: nothing that is measured or ticked is ever offered.
"""

from collections.abc import Mapping

import polars as pl

from qa_engine.book.lookout.kept import Kept
from qa_engine.records import KINDS
from qa_engine.web.office import now, office, register

LAST_OF = {
    "vehicle_class": ("rinse",),
    "meter": ("reading", "meter_check"),
    "grade": ("resin_change",),
    "source": ("reading", "rinse"),
}
"""The names that a form offers as used last on the tank or van, and which records tell them."""

TABLES = {"vehicle_class": "vehicle_classes", "meter": "meters", "source": "sources"}


def fleet() -> pl.DataFrame:
    """Return the tanks that the register has now, with their van and its base."""
    known, as_of = register(), now()
    tanks, vans = (
        known.table(name).filter(pl.col("holds_from") <= as_of).unique(key, keep="last")
        for name, key in (("tanks", "tank"), ("vans", "van"))
    )
    bases = vans.select("van", "base")
    return tanks.select("tank", "van").join(bases, on="van", how="full", coalesce=True).sort("tank")


def van_of(tank: str) -> str | None:
    """Return the van on which the register has a tank now."""
    found = fleet().filter(pl.col("tank") == tank)["van"]
    return found[0] if len(found) else None


def choices(column: str) -> tuple[str, ...]:
    """Return all tanks, vans or bases."""
    return tuple(fleet()[column].drop_nulls().unique().sort())


def offered(kind: str, place: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    """Return the names that fields of a form offer, the one used last first."""
    found = {"base": choices("base"), "van": choices("van"), "tank": choices("tank")}
    for name in LAST_OF.keys() & KINDS[kind].fields.keys():
        names = _last(name, place), *_known(name)
        found[name] = tuple(dict.fromkeys(one for one in names if one))
    return found


def used_last(kind: str, place: Mapping[str, str]) -> dict[str, str]:
    """Return the names that a new form is filled with: those used last on its tank or van."""
    names = LAST_OF.keys() & KINDS[kind].fields.keys()
    found = {name: last for name in names if (last := _last(name, place))}
    if kind == "disposal" and (van := place.get("van")):
        bases = fleet().filter(pl.col("van") == van)["base"].drop_nulls()
        found |= {"base": bases[0]} if len(bases) else {}
    return found


def _last(name: str, place: Mapping[str, str]) -> str | None:
    column = "tank" if place.get("tank") else "van"
    if not place.get(column):
        return None
    frames = _kept().about({column: [place[column]]}, LAST_OF[name])
    told = [f.select("at", name) for f in frames.values() if name in f.columns]
    if not told:
        return None
    rows = pl.concat(told).drop_nulls().sort("at")
    return rows[name][-1] if rows.height else None


def _known(name: str) -> list[str]:
    if name in TABLES:
        return register().table(TABLES[name])[name].unique().sort().to_list()
    changes = _kept().get("resin_change")
    if changes is None or "grade" not in changes.columns:
        return []
    return changes["grade"].drop_nulls().unique().sort().to_list()


def _kept() -> Kept:
    return office().lookout.state(now()).kept
