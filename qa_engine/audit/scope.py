"""The scope of an audit: which places of the fleet, and which rule sets.

Bases, vans and tanks add up: base North and tank T9 together are all of base North, and tank T9
wherever it works. What belongs to a place is told by where a thing was at its own instant: a tank
that moved from one van to another belongs to each for its time. Rule sets narrow the places down.

What belongs to no place, such as a meter that no van is named for, lies in the whole fleet alone.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import polars as pl

from qa_engine.errors import AuditError, nearest
from qa_engine.history import valid_rows
from qa_engine.register import TABLES, Register

NOUNS = {"bases": "base", "vans": "van", "tanks": "tank", "rule_sets": "rule set"}
SHOWN = 12
"""So many of the names that would do are told where one does not."""


@dataclass(frozen=True)
class Scope:
    """What an audit looks at; nothing named is everything there is.

    Attributes:
        bases, vans, tanks: the places.
        rule_sets: the rule sets.
    """

    bases: tuple[str, ...] = ()
    vans: tuple[str, ...] = ()
    tanks: tuple[str, ...] = ()
    rule_sets: tuple[str, ...] = ()

    @property
    def is_whole_fleet(self) -> bool:
        """Tell whether no place is named, so that every one belongs to it."""
        return not (self.bases or self.vans or self.tanks)

    @property
    def names(self) -> dict[str, tuple[str, ...]]:
        """Return what is named, by sort."""
        return {sort: getattr(self, sort) for sort in NOUNS}

    @property
    def says(self) -> str:
        """Say what the scope is, in words."""
        named = [
            f"{NOUNS[sort]}{'s' if len(ids) > 1 else ''} {', '.join(ids)}"
            for sort, ids in self.names.items()
            if ids and sort != "rule_sets"
        ]
        by = ", ".join(self.rule_sets)
        rules = f"rule set{'s' if len(self.rule_sets) > 1 else ''} {by}" if by else "all rule sets"
        return f"{'; '.join(named) or 'the whole fleet'}; {rules}"

    def holds(self, things: pl.DataFrame, register: Register) -> pl.Series:
        """Tell which things lie in its places, rule sets aside.

        Args:
            things: have ``at``, and any of ``van``, ``tank``, ``base``, ``source``; also ``item``
                where that is the id of a van or tank.
            register: where things were when.
        """
        if self.is_whole_fleet:
            return pl.repeat(True, things.height, eager=True)
        mine = pl.any_horizontal(
            pl.col("tank").is_in(self.tanks),
            pl.col("van").is_in(self.vans),
            pl.col("base").is_in(self.bases),
        )
        return placed(things, register).select(mine.fill_null(False))["tank"]


def placed(things: pl.DataFrame, register: Register) -> pl.DataFrame:
    """Return ``tank``, ``van`` and ``base`` of things at their instants, row for row.

    Args:
        things: as for ``Scope.holds``.
        register: where things were when.
    """
    lacking = [name for name in (*_ASKED, "item", "meter") if name not in things.columns]
    frame = things.with_columns(pl.lit(None, pl.String).alias(name) for name in lacking)
    nowhere = pl.all_horizontal(pl.col("tank", "base", "source", "meter").is_null())
    for sort in ("van", "tank"):  # the tank last: it settles that an item is no van
        named = nowhere & pl.col("item").is_in(register.table(f"{sort}s")[sort].unique().implode())
        frame = frame.with_columns(pl.when(named).then("item").otherwise(sort).alias(sort))
    of_tank = valid_rows(frame, register, "tanks", ["van"])["van"]
    frame = frame.with_columns(pl.col("van").fill_null(of_tank))
    of_van = valid_rows(frame, register, "vans", ["base"])["base"]
    of_source = valid_rows(frame, register, "sources", ["base"])["base"]
    base = pl.col("base").fill_null(of_van).fill_null(of_source)
    return frame.with_columns(base).select(_ASKED)


_ASKED = ("tank", "van", "base", "source")


def choices(
    register: Register, frames: Mapping[str, pl.DataFrame], rule_sets: Iterable[str]
) -> dict[str, tuple[str, ...]]:
    """Return what a scope may name, by sort, each in order: what register or records name."""
    tables = [*map(register.table, TABLES), *frames.values()]
    found: dict[str, set[str]] = {name: set() for name in ("base", "van", "tank")}
    for name, ids in found.items():
        ids.update(*(t[name].drop_nulls().unique() for t in tables if name in t.columns))
    named = {f"{name}s": tuple(sorted(ids)) for name, ids in found.items()}
    return {**named, "rule_sets": tuple(sorted(set(rule_sets)))}


def check(scope: Scope, known: Mapping[str, tuple[str, ...]]) -> None:
    """Find names in a scope that stand for nothing.

    Raises:
        AuditError: names the first of them, and what would do.
    """
    for sort, ids in scope.names.items():
        for one in ids:
            if one not in known[sort]:
                raise AuditError(_unknown(sort, one, known[sort]))


def _unknown(sort: str, one: str, known: tuple[str, ...]) -> str:
    hint = nearest(one, known)
    if not hint:
        more = f" and {len(known) - SHOWN} more" if len(known) > SHOWN else ""
        hint = f"known are {', '.join(known[:SHOWN])}{more}" if known else "none is known"
    return f"scope: there is no {NOUNS[sort]} '{one}'; {hint}"
