"""Permissions that cover the same, or parts of it, at the same time."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from qa_engine.permissions.circumstances import COVERS_NOTHING
from qa_engine.permissions.faults import Fault, named
from qa_engine.permissions.permission import Permission, span
from qa_engine.register import Register

Vans = Mapping[str, set[str | None]]
"""The vans that each tank of the register is or was on."""


def overlaps_of(
    permissions: Sequence[Permission], states: Sequence[str], register: Register
) -> list[list[Fault]]:
    """Return for each permission that it overlaps with others, if it does."""
    others: list[list[str]] = [[] for _ in permissions]
    for one, other in _pairs(permissions, states, register):
        others[one].append(permissions[other].permission)
        others[other].append(permissions[one].permission)
    return [[_fault(sorted(names))] if names else [] for names in others]


def _fault(names: list[str]) -> Fault:
    says = f"It covers in part what {named(names)} covers too; the one that begins first counts."
    return Fault("overlapping", says)


def _pairs(
    permissions: Sequence[Permission], states: Sequence[str], register: Register
) -> Iterator[tuple[int, int]]:
    """Yield the places of every two permissions that cover anything together."""
    vans: dict[str, set[str | None]] = {}
    for tank, van in register.table("tanks").select("tank", "van").iter_rows():
        vans.setdefault(tank, set()).add(van)
    spans = [
        (one.rule_set, *span(one, register.zone), place)
        for place, one in enumerate(permissions)
        if states[place] != COVERS_NOTHING
    ]
    for _, same_set in groupby(sorted(spans), key=lambda one: one[0]):
        begun = list(same_set)
        for at, (_, _, after, place) in enumerate(begun):
            for _, first, _, other in begun[at + 1 :]:
                if first >= after:
                    break
                if _meet(permissions[place], permissions[other], vans):
                    yield place, other


def _meet(one: Permission, other: Permission, vans_of: Vans) -> bool:
    """Tell whether some rule at some place is a matter of both permissions."""
    if one.rule and other.rule and one.rule != other.rule:
        return False
    tanks, vans = {one.tank, other.tank} - {None}, {one.van, other.van} - {None}
    if len(tanks) > 1 or len(vans) > 1:
        return False
    if not tanks or not vans:
        return True
    known = vans_of.get(str(*tanks), {None})
    return None in known or bool(known & vans)
