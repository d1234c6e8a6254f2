"""What an inspection answers to the open findings of an earlier report."""

import numpy as np
import polars as pl

from qa_engine.closing import cited, closing_of
from qa_engine.facts import STATE_SUBJECTS
from qa_engine.judging import Judged
from qa_engine.lifecycle.earlier import INSTANT, Earlier
from qa_engine.runs import NOWHERE, Places

ANSWERS: dict[str, pl.DataType] = {
    "asked": pl.UInt32(),
    "verdict": pl.Int8(),
    "itself": pl.Boolean(),
    "at": INSTANT,
    "record": pl.String(),
    "cited": pl.List(pl.String),
    "edition now": pl.String(),
}
"""A row for each finding that was judged again: ``verdict`` of its own last subject, and of
what ended it, if anything did: whether that is the subject ``itself``, the instant, the record,
the records that its facts cite and the edition that judged it."""

NO_ANSWERS = pl.DataFrame(schema=ANSWERS)


def answers_of(earlier: Earlier | None, judged: Judged) -> pl.DataFrame:
    """Return the answers that judged subjects give, as ``ANSWERS``."""
    if earlier is None or judged.subjects.is_empty():
        return NO_ANSWERS
    kind = judged.requirements[0].subject
    asked = earlier.open.filter(pl.col("subject_kind") == kind)
    places = _of_thing(asked, judged) if kind in STATE_SUBJECTS else _of_event(asked, judged)
    placed = asked.join(places, on="asked", maintain_order="left")
    item = judged.subjects["item"].rle_id().to_numpy().astype(np.int64)
    answers = [NO_ANSWERS]
    for which, one in enumerate(judged.requirements):
        rule = (pl.col("rule_set") == one.rule_set) & (pl.col("rule") == one.rule)
        if (mine := placed.filter(rule)).height:
            answers.append(_answered(mine, judged, which, item))
    return pl.concat(answers)


def _of_event(asked: pl.DataFrame, judged: Judged) -> pl.DataFrame:
    """Return the place of the last of each finding's own records, among the judged subjects."""
    subjects = judged.subjects.select("record", "item").with_row_index("place")
    return (
        asked.select("asked", "item", record="evidence")
        .explode("record", empty_as_null=True)
        .join(subjects, on=["record", "item"])
        .group_by("asked")
        .agg(pl.col("place").max())
    )


def _of_thing(asked: pl.DataFrame, judged: Judged) -> pl.DataFrame:
    """Return the place where each finding's thing was judged last."""
    subjects = judged.subjects.select("item").with_row_index("place")
    last = subjects.group_by("item").agg(pl.col("place").max())
    return asked.select("asked", "item").join(last, on="item").select("asked", "place")


def _answered(mine: pl.DataFrame, judged: Judged, which: int, item: Places) -> pl.DataFrame:
    places = mine["place"].to_numpy().astype(np.int64)
    closing = closing_of(judged, which, item, places)
    # What a settling record ended is not judged anew: the finding's own edition still stands.
    place = np.where(closing.place == NOWHERE, places, closing.place)
    worded = judged.wording[which][place]
    editions = [edition.rule.edition for edition in judged.requirements[which].editions]
    return pl.DataFrame(
        {
            "asked": mine["asked"],
            "verdict": judged.outcomes[which][places],
            "itself": closing.place == places,
            "at": closing.at,
            "record": closing.record,
            "cited": cited(judged, which, closing.place),
            "edition now": [
                editions[version] if ended else None
                for version, ended in zip(worded, closing.at.is_not_null(), strict=True)
            ],
        },
        schema=ANSWERS,
    )
