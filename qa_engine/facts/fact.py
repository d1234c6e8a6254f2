"""What a fact is: its declaration, and the function that finds it for many subjects at once."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import polars as pl

from qa_engine.records import KINDS

if TYPE_CHECKING:
    from qa_engine.facts.past import Past

EVENT_SUBJECTS = tuple(KINDS)
"""Subjects that are records, judged at their own instant."""

STATE_SUBJECTS: dict[str, str] = {
    "charge": "tank",
    "tank": "tank",
    "meter": "meter",
    "van": "van",
    "base": "base",
}
"""Subjects that are things, judged as of an instant; each with the item it belongs to."""

SUBJECTS = (*EVENT_SUBJECTS, *STATE_SUBJECTS)

UNCERTAINTY = "uncertainty of "
"""Names the standard uncertainty of a number, a fact itself, followed by the number's name.

Conditions cannot name it; rules that ask for guarded acceptance read it beside the number.
"""

FactType = Literal["number", "words", "yes/no", "records"]

COLUMN_TYPES: dict[str, pl.DataType] = {
    "number": pl.Float64(),
    "words": pl.String(),
    "yes/no": pl.Boolean(),
    "records": pl.List(pl.String()),
}


@dataclass(frozen=True)
class Fact:
    """The declaration of one fact.

    Attributes:
        name: how rules write it, in snake_case; one name means the same for every subject.
        type: number, words, yes/no, or records (a list of record ids, for messages only).
        meaning: one plain sentence for the person who writes rules.
        unit: the unit of a number; None for other types.
        words: the closed list that words come from; empty if they are free.
        low, high: the range a number can have, in its unit.
        absent: what it means when the records are silent: the fact is unknown, or it is "no".
        per_day: by how much it changes with each day on which nothing is logged, in its unit:
            1 for an age in days, -1 for days left, 0 for what only records change. From it the
            engine foretells when a rule will fall due.
        looks_at: what it is made of, so that where it is missing it can be said what was looked
            for: ``reading.outlet_tds`` or ``reading.outlet_tds sampled=flowing`` (records of a
            kind that state a field, perhaps only those where others read so), ``tanks.bore`` (a
            table of the register), ``charge_capacity`` (another fact, if the subject has it),
            ``each rinse.rinses`` (a fact of every record of a kind on the charge so far),
            ``model`` (a resin model for the grade).
    """

    name: str
    type: FactType
    meaning: str
    unit: str | None = None
    words: tuple[str, ...] = ()
    low: float = float("-inf")
    high: float = float("inf")
    absent: Literal["unknown", "no"] = "unknown"
    per_day: int = 0
    looks_at: tuple[str, ...] = ()


@dataclass(frozen=True)
class FactGroup:
    """Facts that are found together, by one function, from the same records.

    Attributes:
        subjects: the kinds of subject it can be asked about.
        facts: what it finds.
        find: takes the subjects and their past, returns a frame row for row beside the subjects,
            with a column per fact and, if it can, a column ``evidence`` with the id of the record
            that the facts came from. Missing is null; NaN and infinities are made null.
        looks_ahead: whether it reads records after the subject's instant, up to its ``until``;
            only rules with ``within`` may use such facts.
        asks_models: whether it asks resin models, so that a failed plugin explains its silence.
        provider: the plugin that offers the group.
        reads: the kinds of record that it looks at besides the subject itself and the cutting of
            charges; None if it may look at any. A record of another kind then cannot change what
            it finds, and nothing need be judged anew for it.

    Of the records it may look at those of the subject's tank, van, meter, base and source, and
    those of the vans, meters and sources that the records of its tank name; of the register at
    everything.

    The frame of subjects has ``subject`` (id), ``at``, ``until``, ``record`` (null for things),
    ``van``, ``tank``, ``meter``, ``base``, ``source`` and ``item`` where the subject has one
    (null otherwise), and for records all fields of the kind. Rows are sorted by (item, at).
    """

    subjects: tuple[str, ...]
    facts: tuple[Fact, ...]
    find: Callable[[pl.DataFrame, "Past"], pl.DataFrame]
    looks_ahead: bool = False
    asks_models: bool = False
    provider: str = "qa_engine"
    reads: tuple[str, ...] | None = None
