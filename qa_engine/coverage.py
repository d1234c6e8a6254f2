"""Coverage: how many subjects each rule judged, and with what outcome."""

from collections.abc import Iterable
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.conformity import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE, PENDING, UNDECIDED
from qa_engine.judging import Judged
from qa_engine.rulesets import Edition

OUTCOMES = {
    "conforms": CONFORMS,
    "does_not_conform": DOES_NOT_CONFORM,
    "undecided": UNDECIDED,
    "pending": PENDING,
    "not_applicable": NOT_APPLICABLE,
}
"""The outcomes as a report names them."""

NAMES = ("rule_set", "rule", "edition")
SCHEMA: dict[str, pl.DataType] = {
    **dict.fromkeys(NAMES, pl.String()),
    **dict.fromkeys(OUTCOMES, pl.Int64()),
}
BY_ITEM: dict[str, pl.DataType] = {
    **SCHEMA,
    "subject_kind": pl.String(),
    "item": pl.String(),
}
"""The columns of coverage that is told item by item."""


def coverage_of(
    judged: Judged, first: datetime | None = None, after: datetime | None = None
) -> pl.DataFrame:
    """Return how often each outcome was given, at any time or from one instant to another."""
    rows = []
    counted: NDArray[np.bool_] | slice = slice(None)
    if first is not None and after is not None:
        counted = judged.subjects["at"].is_between(first, after, closed="left").to_numpy()
    for one, outcome, wording in zip(
        judged.requirements, judged.outcomes, judged.wording, strict=True
    ):
        for version, edition in enumerate(one.editions):
            mine = outcome[counted][wording[counted] == version]
            counts = {name: int(np.count_nonzero(mine == c)) for name, c in OUTCOMES.items()}
            names = zip(NAMES, (one.rule_set, one.rule, edition.rule.edition), strict=True)
            rows.append({**dict(names), **counts})
    return pl.DataFrame(rows, schema=SCHEMA)


def coverage_by_item(judged: Judged) -> pl.DataFrame:
    """Return how often each outcome was given for each item, as ``BY_ITEM``; nothing of zeros."""
    if judged.subjects.is_empty():
        return pl.DataFrame(schema=BY_ITEM)
    runs = judged.subjects["item"].rle_id()
    place = runs.to_numpy().astype(np.int64)
    items = judged.subjects["item"].filter(runs.diff().ne_missing(0))
    named, counted = [], []
    for one, outcome, wording in zip(
        judged.requirements, judged.outcomes, judged.wording, strict=True
    ):
        for version, edition in enumerate(one.editions):
            mine = wording == version
            named.append((one.rule_set, one.rule, edition.rule.edition))
            counted.append(
                [
                    np.bincount(place[mine & (outcome == code)], minlength=len(items))
                    for code in OUTCOMES.values()
                ]
            )
    rules = pl.DataFrame(named, schema=dict.fromkeys(NAMES, pl.String), orient="row")
    per_item = np.array(counted, np.int64).transpose(0, 2, 1).reshape(-1, len(OUTCOMES))
    frame = rules.join(items.to_frame("item"), how="cross", maintain_order="left_right")
    return (
        frame.hstack(
            pl.from_numpy(per_item, schema=dict.fromkeys(OUTCOMES, pl.Int64), orient="row")
        )
        .with_columns(subject_kind=pl.lit(judged.requirements[0].subject))
        .select(*BY_ITEM)
        .filter(pl.sum_horizontal(*OUTCOMES) > 0)
    )


def summed(parts: Iterable[pl.DataFrame], editions: Iterable[Edition]) -> pl.DataFrame:
    """Return the coverage of all parts together, a row per rule of each edition, zeros included."""
    rules = [
        {"rule_set": r.rule_set, "rule": r.rule, "edition": r.edition, **dict.fromkeys(OUTCOMES, 0)}
        for e in editions
        for r in e.rules
    ]
    return (
        pl.concat([pl.DataFrame(rules, schema=SCHEMA), *(part.select(*SCHEMA) for part in parts)])
        .group_by(NAMES)
        .agg(pl.col(*OUTCOMES).sum())
        .sort(NAMES)
    )
