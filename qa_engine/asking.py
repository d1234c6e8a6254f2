"""Finding the facts of many subjects: each group of facts is asked once, for all that is needed."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import polars as pl

from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import COLUMN_TYPES, UNCERTAINTY, Fact
from qa_engine.facts.past import Past

EVIDENCE = "evidence of "
"""What the column with a fact's record is called, followed by the name of the group's first fact.

No fact has such a name: those with spaces in them begin with ``UNCERTAINTY``.
"""


@dataclass(frozen=True)
class Known:
    """What is known of some subjects.

    Attributes:
        frame: a column per fact and per source of evidence, row for row beside the subjects.
        evidence: the column of evidence by name of fact; facts without evidence are not in it.
    """

    frame: pl.DataFrame
    evidence: Mapping[str, str] = field(default_factory=dict)


def known_of(
    subject: str, names: Iterable[str], subjects: pl.DataFrame, past: Past, catalogue: Catalogue
) -> Known:
    """Return the named facts of subjects, as columns; names that no one knows are null."""
    facts = catalogue.facts_of(subject)
    columns: list[pl.Series] = []
    evidence: dict[str, str] = {}
    for wanted in _by_group(subject, [n for n in dict.fromkeys(names) if n in facts], catalogue):
        found = catalogue.group_of(subject, wanted[0]).find(subjects, past)
        columns += [_clean(found[name], facts[name]) for name in wanted]
        if "evidence" in found.columns:
            column = EVIDENCE + wanted[0]
            columns.append(found["evidence"].alias(column))
            evidence |= dict.fromkeys(wanted, column)
    columns += [
        pl.Series(name, [None], pl.Null).new_from_index(0, subjects.height)
        for name in dict.fromkeys(names)
        if name not in facts
    ]
    return Known(pl.DataFrame(columns or [subjects["subject"]]), evidence)


def _by_group(subject: str, names: list[str], catalogue: Catalogue) -> list[list[str]]:
    groups: dict[int, list[str]] = {}
    for name in names:
        groups.setdefault(id(catalogue.group_of(subject, name)), []).append(name)
    return list(groups.values())


def _clean(column: pl.Series, fact: Fact) -> pl.Series:
    """Return a fact's column in its type; what is not a finite number is missing."""
    column = column.cast(COLUMN_TYPES[fact.type])
    if fact.type != "number":
        return column
    number = pl.col(column.name)
    sound = number.is_finite()
    if fact.name.startswith(UNCERTAINTY):
        sound &= number >= 0
    return column.to_frame().select(pl.when(sound).then(number))[column.name]
