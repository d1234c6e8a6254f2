"""What became of each permission by an instant: its state, its use, and what is wrong with it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from qa_engine.permissions.circumstances import LAPSED, Circumstances
from qa_engine.permissions.faults import Fault, faults_of, still_needed, unused
from qa_engine.permissions.overlaps import overlaps_of
from qa_engine.permissions.permission import Permission, span

LOOKED_AT: dict[str, pl.DataType] = {
    "finding": pl.String(),
    "rule_set": pl.String(),
    "rule": pl.String(),
    "edition": pl.String(),
    "outcome": pl.String(),
    "van": pl.String(),
    "tank": pl.String(),
    "until": pl.Datetime("us", "UTC"),
    "permission": pl.String(),
    "stands": pl.Boolean(),
}
"""The columns of findings that an account needs."""


@dataclass(frozen=True)
class Account:
    """A permission as it stood at the instant of an inspection.

    Attributes:
        permission: the permission.
        state: in force, lapsed, not yet, or covers nothing.
        uses: how many findings are or were under it, in all the history that was judged.
        faults: what is wrong with it.
    """

    permission: Permission
    state: str
    uses: int
    faults: tuple[Fault, ...]


def accounts_of(
    permissions: Sequence[Permission], findings: pl.DataFrame, known: Circumstances
) -> tuple[Account, ...]:
    """Return the account of each permission, in the order given.

    Args:
        permissions: the permissions.
        findings: all findings up to the instant, with the columns ``LOOKED_AT``.
        known: what else the inspection knew.
    """
    uses = dict(findings.group_by("permission").len().drop_nulls().rows())
    states = [known.state(one) for one in permissions]
    needed = _still_needed(permissions, states, findings, known)
    overlaps = overlaps_of(permissions, states, known.register)
    accounts = []
    for place, (one, state) in enumerate(zip(permissions, states, strict=True)):
        count = uses.get(one.permission, 0)
        faults = [*faults_of(one, known), *overlaps[place], *still_needed(needed[place])]
        if state == LAPSED and not count:
            faults += unused(one, known)
        accounts.append(Account(one, state, count, tuple(faults)))
    return tuple(accounts)


def _still_needed(
    permissions: Sequence[Permission],
    states: Sequence[str],
    findings: pl.DataFrame,
    known: Circumstances,
) -> list[list[str]]:
    """Return for each permission the findings that stand and would be under it, had it not lapsed.

    Each is named with the permission that lapsed last of those that it could be under.
    """
    zone = known.register.zone
    needed: list[list[str]] = [[] for _ in permissions]
    open_ = findings.filter(
        pl.col("stands")
        & pl.col("permission").is_null()
        & (pl.col("outcome") == "does not conform")
    )
    lapsed = [
        (span(one, zone)[1], place)
        for place, one in enumerate(permissions)
        if states[place] == LAPSED
    ]
    for after, place in sorted(lapsed, reverse=True):
        mine = _would_cover(permissions[place], after, known)
        needed[place] = sorted(open_.filter(mine)["finding"])
        open_ = open_.filter(~mine)
    return needed


def _would_cover(one: Permission, after: datetime, known: Circumstances) -> pl.Expr:
    never = [f"{r.rule} {r.edition}" for r in known.rules(one) if r.permission == "never"]
    wording = pl.concat_str("rule", "edition", separator=" ")
    mine = (pl.col("rule_set") == one.rule_set) & (pl.col("until") >= after) & ~wording.is_in(never)
    for name, wanted in (("rule", one.rule), ("van", one.van), ("tank", one.tank)):
        if wanted is not None:
            mine &= (pl.col(name) == wanted).fill_null(False)
    return mine
