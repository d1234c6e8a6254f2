"""What can be wrong with a permission."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from qa_engine.errors import nearest
from qa_engine.facts.fact import EVENT_SUBJECTS
from qa_engine.permissions.circumstances import Circumstances
from qa_engine.permissions.permission import (
    DEVIATION_PERMIT,
    Permission,
    follows,
    is_too_long,
    is_void,
    starts,
)
from qa_engine.register import Register

SHOWN = 3
"""How many ids a fault names before it counts the rest."""


@dataclass(frozen=True)
class Fault:
    """Something wrong with a permission.

    Attributes:
        fault: its kind in two words, always the same for the same kind.
        says: a sentence that stands alone.
    """

    fault: str
    says: str


def faults_of(one: Permission, known: Circumstances) -> Iterator[Fault]:
    """Yield what is wrong with a permission as it was given."""
    yield from _of_itself(one, known)
    if not is_void(one, known.register.zone):
        yield from _of_its_rules(one, known)
    yield from _of_its_place(one, known.register)


def _of_itself(one: Permission, known: Circumstances) -> Iterator[Fault]:
    zone = known.register.zone
    if one.is_self_approved:
        says = f"{one.approved_by} both asked for it and approved it; it covers nothing."
        yield Fault("self-approved", says)
    if is_too_long(one, zone):
        says = f"It was given for more than {one.longest_d} days; it covers nothing."
        yield Fault("too long", says)
    if one.type == DEVIATION_PERMIT and starts(one.approved_on, zone) > starts(one.begins, zone):
        says = "It was approved after its beginning; it covers nothing from before its approval."
        yield Fault("approved late", says)
    if one.type != DEVIATION_PERMIT and follows(one.approved_on, zone) < follows(one.until, zone):
        says = "It was approved before its end; a concession covers nothing after its approval."
        yield Fault("approved early", says)


def _of_its_rules(one: Permission, known: Circumstances) -> Iterator[Fault]:
    if not known.rules(one):
        sets = sorted({edition.rule_set for edition in known.editions})
        hint = nearest(one.rule_set, sets)
        what = f"The rule set '{one.rule_set}' did not judge here; it covers nothing."
        yield Fault("not judged", f"{what} {hint[:1].upper()}{hint[1:]}".strip())
        return
    judging = known.judging(one)
    never = sorted({r.edition for r in judging if r.permission == "never"})
    if not judging:
        says = f"No edition of {one.about} was in force in its time; it covers nothing."
        yield Fault("not judged", says)
    elif known.takes_none(one):
        yield Fault("takes none", f"{one.about} takes no permission; it covers nothing.")
    elif one.rule and never:
        says = f"{one.about} takes no permission in edition {', '.join(never)}."
        yield Fault("takes none", says)


def _of_its_place(one: Permission, register: Register) -> Iterator[Fault]:
    for name, wanted in (("van", one.van), ("tank", one.tank)):
        ids = register.table(f"{name}s")[name].unique().sort().to_list()
        if wanted is not None and wanted not in ids:
            hint = nearest(wanted, ids)
            says = f"The register has no {name} '{wanted}'. {hint[:1].upper()}{hint[1:]}".strip()
            yield Fault("unknown place", says)


def unused(one: Permission, known: Circumstances) -> Iterator[Fault]:
    """Yield that a permission was never used, where its use could have been seen."""
    kinds = {rule.subject for rule in known.rules(one)}
    if known.by_day or kinds <= set(EVENT_SUBJECTS):
        yield Fault("unused", "It lapsed without having covered anything.")


def still_needed(findings: Sequence[str]) -> Iterator[Fault]:
    """Yield that what a lapsed permission covered is not met, if there are such findings."""
    if not findings:
        return
    says = f"It has lapsed, and what it covered is not met: {named(findings)}."
    yield Fault("still needed", says)


def named(ids: Sequence[str]) -> str:
    """Return ids in a row, the first few by name and the rest by number."""
    more = len(ids) - SHOWN
    return ", ".join(ids[:SHOWN]) + (f" and {more} more" if more > 0 else "")
