"""What a change of records can reach: the items, and the requirements, to judge anew.

No verdict rests on a record after its subject's time to be fulfilled, and none on the records of
other tanks. So what came in concerns the tanks, vans, meters, bases and sources that it names, and
of their records those from its own instant on; what came later closes findings before it only by
the work that their rule names.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import polars as pl

from qa_engine.book.lookout.kept import PLACES, Frames, Kept, latest_of
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import STATE_SUBJECTS
from qa_engine.judging import Requirement
from qa_engine.records import KINDS, TANK_KINDS
from qa_engine.register import Register
from qa_engine.rulesets import Rule
from qa_engine.subjects import item_of

Items = Mapping[str, frozenset[str]]
"""Ids by column: tank, van, meter, base, source, item."""

BESIDE = tuple(kind for kind in KINDS if kind not in TANK_KINDS)
"""The kinds of record that belong to no tank."""


@dataclass(frozen=True)
class Reach:
    """What a change of records can reach.

    Attributes:
        kinds: the kinds of record that changed.
        since: the earliest instant at which anything changed.
        items: what is concerned, by column.
        unsettled: columns of which an item was first heard of, went elsewhere, or may no longer be
            named at all.
    """

    kinds: frozenset[str]
    since: datetime
    items: Items
    unsettled: frozenset[str]

    def touches(self, one: Requirement, frames: Frames, catalogue: Catalogue) -> bool:
        """Tell whether verdicts by a requirement can have changed.

        Args:
            one: the requirement.
            frames: the records about what is concerned, with the change in them.
            catalogue: the facts.
        """
        item = item_of(one.subject)
        if not self.items[item]:
            return False
        if one.subject in self.kinds or self._settles(one):
            return True
        if one.subject not in STATE_SUBJECTS and not self._any_since(one, frames):
            return False
        reads = reads_of(one, catalogue)
        if not self.kinds.isdisjoint(rule.affects for rule in one.wordings()):
            return True
        return reads is None or item in self.unsettled or not self.kinds.isdisjoint(reads)

    def _settles(self, one: Requirement) -> bool:
        """Tell whether the work that ends a finding was logged."""
        work = {rule.settled_by for rule in one.wordings() if _ended_by_work(rule)}
        return not self.kinds.isdisjoint(work)

    def _any_since(self, one: Requirement, frames: Frames) -> bool:
        frame = frames.get(one.subject)
        if frame is None or frame.is_empty():
            return False
        return latest_of(frame) + (one.within or timedelta()) >= self.since


def reads_of(one: Requirement, catalogue: Catalogue) -> set[str] | None:
    """Return the kinds of record that verdicts by a requirement rest on; None for any."""
    facts = catalogue.facts_of(one.subject)
    told = {name for rule in one.wordings() for name in (*rule.needs, *rule.told)}
    groups = [catalogue.group_of(one.subject, name) for name in told if name in facts]
    if any(group.reads is None for group in groups):
        return None
    # A resin change cuts the charges, by which findings are cut.
    return {"resin_change", *(kind for group in groups for kind in group.reads or ())}


def _ended_by_work(rule: Rule) -> bool:
    return rule.stands_until == "settling record" or rule.settled_by == "resin_change"


def reach_of(replaced: Frames, come: Iterable[Frames], kept: Kept, register: Register) -> Reach:
    """Return what a change reaches.

    Args:
        replaced: the records that were replaced, by kind.
        come: those that came in.
        kept: the records so far, without what came in.
        register: the register.
    """
    changed = [(kind, f) for frames in (replaced, *come) for kind, f in frames.items()]
    rows = pl.concat([_placed(kind, frame) for kind, frame in changed])
    of_tank = pl.col("kind").is_in(list(TANK_KINDS))
    beside = rows.filter(~of_tank)
    tanks = _ids(rows.filter(of_tank), "tank") | _tanks_beside(beside, kept, register)
    cut = _cut(rows, kept)
    named = _ids(beside, "item")
    placed = _vans_of(_ids(rows, "tank") | tanks, register)
    vans = _ids(rows, "van") | named | placed | _named(cut, "van")
    items = {
        "tank": tanks,
        "van": vans,
        "meter": _ids(rows, "meter") | named | _named(cut, "meter"),
        "base": _ids(rows, "base") | _bases_of(vans, register) | _named(cut, "base"),
        "source": _ids(rows, "source") | _named(cut, "source"),
        "item": named | _named(cut, "item"),
    }
    unsettled = frozenset(PLACES) if replaced else frozenset(_unsettled(rows, kept))
    since: datetime = rows["at"].min()  # type: ignore[assignment]
    return Reach(frozenset(rows["kind"]), since, items, unsettled)


def _placed(kind: str, frame: pl.DataFrame) -> pl.DataFrame:
    return frame.select(
        pl.lit(kind).alias("kind"),
        "at",
        *(pl.col(n) if n in frame.columns else pl.lit(None, pl.String).alias(n) for n in PLACES),
    )


def _ids(rows: pl.DataFrame, column: str) -> frozenset[str]:
    return frozenset(rows[column].drop_nulls().unique())


def _cut(rows: pl.DataFrame, kept: Kept) -> Frames:
    """Return the records of no tank that name one whose resin changed: it cuts their runs too."""
    tanks = _ids(rows.filter(pl.col("kind") == "resin_change"), "tank")
    return kept.about({"tank": tanks}, BESIDE) if tanks else {}


def _tanks_beside(beside: pl.DataFrame, kept: Kept, register: Register) -> frozenset[str]:
    """Return the tanks that records of no tank concern: whose records name what they name."""
    if beside.is_empty():
        return frozenset()
    items = _ids(beside, "item")
    vans = _ids(beside, "van") | items
    places = {
        "van": vans,
        "meter": _ids(beside, "meter") | items,
        "source": _ids(beside, "source"),
    }
    naming = kept.about(places, TANK_KINDS).values()
    table = register.table("tanks")
    placed = table.filter(pl.col("van").is_in(pl.Series(sorted(vans), dtype=pl.String).implode()))
    found = {tank for frame in (*naming, placed) for tank in frame["tank"].unique()}
    return frozenset(found) | _ids(beside, "tank") | items


def _vans_of(tanks: frozenset[str], register: Register) -> frozenset[str]:
    return _held(register, "tanks", "tank", tanks, "van")


def _bases_of(vans: frozenset[str], register: Register) -> frozenset[str]:
    return _held(register, "vans", "van", vans, "base")


def _held(
    register: Register, table: str, key: str, ids: frozenset[str], column: str
) -> frozenset[str]:
    """Return what any row of a table of the register says of some of its things."""
    wanted = pl.Series(sorted(ids), dtype=pl.String).implode()
    rows = register.table(table).filter(pl.col(key).is_in(wanted))
    return frozenset(rows[column].drop_nulls().unique())


def _unsettled(rows: pl.DataFrame, kept: Kept) -> Iterator[str]:
    """Yield the columns of which an item was first heard of; tanks also where one moved."""
    for column in ("tank", "van", "meter", "base", "source"):
        if any(not kept.names(column, one) for one in _ids(rows, column)):
            yield column
    named = rows.filter(pl.col("kind").is_in(list(TANK_KINDS)), pl.col("van").is_not_null())
    for tank in named["tank"].unique():
        known = _named(kept.about({"tank": [tank]}, TANK_KINDS), "van")
        if known != _ids(named.filter(pl.col("tank") == tank), "van"):
            yield "tank"


def around_tanks(kept: Kept, tanks: frozenset[str], register: Register) -> Frames:
    """Return the records that the verdicts on some tanks may rest on."""
    own = kept.about({"tank": tanks}, TANK_KINDS)
    vans = _named(own, "van") | _vans_of(tanks, register)
    meters = _named(own, "meter")
    places = {
        "tank": tanks,
        "van": vans,
        "meter": meters,
        "source": _named(own, "source"),
        "item": tanks | vans | meters,
    }
    return {**own, **kept.about(places, BESIDE)}


def wanted_tanks(register: Register, tanks: frozenset[str]) -> Register:
    """Return a register that has of all tanks only some."""
    wanted = pl.Series(sorted(tanks), dtype=pl.String).implode()
    rows = register.table("tanks").filter(pl.col("tank").is_in(wanted))
    return replace(register, tables={**register.tables, "tanks": rows})


def around_others(kept: Kept, items: Items, register: Register) -> Frames:
    """Return the records that verdicts on vans, meters and sources may rest on.

    Records that name no van were logged where the register has their tank.
    """
    vans = items["van"]
    table = register.table("tanks")
    wanted = pl.Series(sorted(vans), dtype=pl.String).implode()
    placed = frozenset(table.filter(pl.col("van").is_in(wanted))["tank"].unique())
    places = {name: items[name] for name in ("van", "meter", "base", "source")}
    beside = kept.about({**places, "item": items["item"] | vans | items["meter"]}, BESIDE)
    own = {
        "van": vans,
        "meter": items["meter"],
        "source": items["source"],
        "tank": placed | _named(beside, "tank"),
    }
    return {**kept.about(own, TANK_KINDS), **beside}


def _named(frames: Frames, column: str) -> frozenset[str]:
    found = [f[column].drop_nulls().unique() for f in frames.values() if column in f.columns]
    return frozenset(pl.concat(found)) if found else frozenset()
