"""Which permission covers each of many subjects, a column at a time."""

from collections.abc import Sequence
from datetime import datetime
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.permissions.permission import Permission, in_force, span, starts
from qa_engine.rulesets import Rule

Codes = NDArray[np.int16]
"""Per subject the place of the permission that covers it, counted from 1; 0 for none."""

Wordings = tuple[Sequence[Rule], NDArray[np.int8]]
"""A rule as each edition words it, and per subject the place of the wording that judged it."""


def covered(
    permissions: Sequence[Permission],
    rules: Sequence[Wordings],
    subjects: pl.DataFrame,
    as_of: datetime,
    zone: ZoneInfo,
) -> list[Codes | None]:
    """Return for each rule which permission covers each subject; None where none covers any.

    A wording that takes no permission takes none from a permission for its whole set either. A
    permission that was approved only after ``as_of`` was not known then. Where several cover a
    subject, the one that begins first counts.

    Args:
        permissions: all permissions.
        rules: the rules that judged the subjects.
        subjects: the subjects, with ``at``, ``van`` and ``tank``.
        as_of: the instant of the inspection.
        zone: the zone in which the operator's days are counted.
    """
    known = [
        (*span(one, zone), one.permission, place)
        for place, one in enumerate(permissions)
        if starts(one.approved_on, zone) <= as_of
    ]
    latest_first = [place for *_, place in sorted(known, reverse=True)]

    @cache
    def reached(place: int) -> NDArray[np.int64]:
        return _reached(permissions[place], subjects, zone)

    def codes_of(wordings: Sequence[Rule], wording: NDArray[np.int8]) -> Codes | None:
        takes = np.array([rule.permission != "never" for rule in wordings])
        names = wordings[0].rule_set, wordings[0].rule
        mine = [place for place in latest_first if permissions[place].concerns(*names)]
        if not mine or not takes.any():
            return None
        codes = np.zeros(subjects.height, np.int16)
        for place in mine:
            codes[reached(place)] = place + 1
        codes[~takes[wording]] = 0
        return codes if codes.any() else None

    return [codes_of(*one) for one in rules]


def _reached(permission: Permission, subjects: pl.DataFrame, zone: ZoneInfo) -> NDArray[np.int64]:
    """Return the rows of the subjects that lie in the time and scope of a permission."""
    rows = np.flatnonzero(in_force(permission, subjects["at"], zone).to_numpy())
    for column, wanted in (("van", permission.van), ("tank", permission.tank)):
        if wanted is not None:
            there: pl.Series = subjects[column][rows]
            rows = rows[(there == wanted).fill_null(False).to_numpy()]
    return rows
