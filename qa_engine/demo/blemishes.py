"""What goes wrong in the demo fleet: every planted blemish, in one table, with its cause.

Everything else that an inspection finds follows from these or from the simulated physics: a charge
that a busy crew runs to the house limit, a meter that falls overdue because its van is silent.
"""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from qa_engine.demo.fleet import LAST_DAY


@dataclass(frozen=True)
class Blemish:
    """One thing that goes wrong, and the rule that should notice it.

    Attributes:
        name: what the simulation calls it.
        item: the tank, van, meter or base it happens to.
        first: the day from which it may happen.
        last: the last day on which it does; None means once, at the first occasion.
        rule: the id of the shipped rule that finds it.
        outcome: what that rule makes of it.
        what: what happened and why, in a sentence.
    """

    name: str
    item: str
    first: date
    last: date | None
    rule: str
    what: str
    outcome: Literal["does not conform", "undecided"] = "does not conform"


PLANTED = (
    Blemish(
        "missed readings",
        "Rill",
        date(2026, 6, 15),
        date(2026, 6, 26),
        "outlet-read-often-enough",
        "Rill's meter lay forgotten at the base for two weeks; its crew rinsed without readings.",
    ),
    Blemish(
        "drifting meter",
        "C-3",
        date(2026, 6, 1),
        None,
        "meter-within-tolerance-before-adjustment",
        "Meter C-3 was wetted and lost half a percent of its gain a day until its next check.",
    ),
    Blemish(
        "skipped lubrication",
        "T05",
        date(2026, 5, 4),
        None,
        "lubrication-logged-at-resin-change",
        "The grease had run out at Upper Kettle; the head of T05 was closed on a dry seal.",
    ),
    Blemish(
        "petroleum lubricant",
        "T02",
        date(2026, 4, 6),
        None,
        "no-petroleum-on-water-side-seals",
        "A stand-in took the grease for the van's hinges to the head seal of T02.",
    ),
    Blemish(
        "overdue vessel",
        "T08",
        date(2026, 1, 1),
        LAST_DAY,
        "vessel-service-not-overdue",
        "The competent person's visit to Crabwater was put off and T08 was forgotten.",
    ),
    Blemish(
        "service without authority",
        "T05",
        date(2026, 7, 13),
        None,
        "vessel-authority-stated",
        "The form of T05's visual examination was handed in with the authority left blank.",
    ),
    Blemish(
        "dropped tank",
        "T06",
        date(2026, 7, 22),
        None,
        "nothing-rinsed-after-incident-before-examination",
        "T06 fell off the tail lift; it looked sound and was used on without an examination.",
    ),
    Blemish(
        "silent van",
        "Spindrift",
        date(2026, 7, 25),
        LAST_DAY,
        "van-logged-on-every-working-day",
        "Spindrift's phone fell into a puddle; the crew has logged nothing since.",
    ),
    Blemish(
        "riser not checked",
        "T11",
        date(2026, 4, 27),
        None,
        "riser-checked",
        "T11 was refilled in pouring rain and nobody looked at its riser.",
    ),
    Blemish(
        "resin overrun",
        "T07",
        date(2026, 6, 22),
        LAST_DAY,
        "outlet-below-stop-limit",
        "Fresh resin was late; T07 was used past 30 mg/L, then set aside with its spent charge.",
    ),
    Blemish(
        "spent resin held",
        "Crabwater",
        date(2026, 2, 16),
        LAST_DAY,
        "spent-resin-not-held-too-long",
        "Crabwater's carrier gave up the island; its drums of spent resin stand in the yard.",
    ),
    Blemish(
        "disposal without local rule",
        "Fernstep",
        date(2026, 5, 1),
        None,
        "local-rule-recorded-on-disposal",
        "The consignment from Fernstep went off with the local rule's reference left blank.",
    ),
    Blemish(
        "pressure above the plate",
        "T03",
        date(2026, 7, 8),
        None,
        "static-pressure-within-plate",
        "A coach depot's hydrant line stood at 655 kPa; the plate of T03 says 600 kPa.",
    ),
    Blemish(
        "half charge",
        "T01",
        date(2026, 5, 11),
        None,
        "full-charge-loaded",
        "The last bag was half empty; T01 went out with half a charge.",
    ),
    Blemish(
        "washed with deionised water",
        "T12",
        date(2026, 5, 18),
        None,
        "deionised-water-used-for-rinsing-only",
        "A stand-in did the whole wash of a coach from T12.",
    ),
    Blemish(
        "complaint without reading",
        "Spindrift",
        date(2026, 7, 24),
        None,
        "complaint-followed-by-reading",
        "A customer saw spots; the van fell silent before anybody read the outlet.",
    ),
    Blemish(
        "head seal not renewed",
        "T09",
        date(2025, 6, 1),
        LAST_DAY,
        "head-seal-renewed-in-time",
        "The kit that came for T09 lacked the head seal; the old one stayed in.",
    ),
    Blemish(
        "rinse without a name",
        "T04",
        date(2026, 7, 1),
        None,
        "who-rinsed-recorded",
        "A helper of Hoarfrost's crew had no id yet and left the field blank.",
    ),
    Blemish(
        "sampling left blank",
        "T09",
        date(2026, 7, 13),
        None,
        "reading-taken-from-flowing-water",
        "Nobody ticked how a reading of T09 was sampled, so nobody can say what it stands for.",
        "undecided",
    ),
    Blemish(
        "grade without a model",
        "T12",
        date(2026, 6, 15),
        LAST_DAY,
        "grade-has-a-model",
        "T12 came with a blend on trial; no model speaks for that grade yet.",
    ),
)
"""Every planted blemish, each with the rule that should find it."""


class Mishaps:
    """Tells the simulation when a planted blemish strikes."""

    def __init__(self, planted: tuple[Blemish, ...] = PLANTED) -> None:
        self._planted = {(one.name, one.item): one for one in planted}
        self._names = {one.name for one in planted}
        self._happened: set[tuple[str, str]] = set()

    def strikes(self, name: str, item: str, day: date) -> bool:
        """Tell whether a blemish happens to an item on a day; a single one is then over.

        Raises:
            KeyError: no blemish of that name is planted.
        """
        if name not in self._names:
            raise KeyError(name)
        blemish = self._planted.get((name, item))
        if blemish is None or day < blemish.first or (name, item) in self._happened:
            return False
        if blemish.last is None:
            self._happened.add((name, item))
            return True
        return day <= blemish.last
