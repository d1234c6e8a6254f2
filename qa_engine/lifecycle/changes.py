"""What became of the findings of an earlier report, and what is new since."""

from dataclasses import dataclass

import polars as pl

from qa_engine.conformity import NOT_APPLICABLE
from qa_engine.facts import EVENT_SUBJECTS, STATE_SUBJECTS
from qa_engine.findings import GRADINGS
from qa_engine.lifecycle.earlier import INSTANT, Earlier, is_open
from qa_engine.lifecycle.later import with_closing_records
from qa_engine.lifecycle.present import Present
from qa_engine.lifecycle.reasons import why_not_judged

NEW, STILL_OPEN, CLOSED, NOT_JUDGED = STATES = ("new", "still open", "closed", "not judged")

CHANGES: dict[str, pl.DataType] = {
    "state": pl.String(),
    "finding": pl.String(),
    "earlier": pl.String(),
    **dict.fromkeys(("rule_set", "rule", "grading", "outcome", "subject_kind"), pl.String()),
    **dict.fromkeys(("item", "van", "tank"), pl.String()),
    "since": INSTANT,
    "until": INSTANT,
    "message": pl.String(),
    "closed_at": INSTANT,
    "closed_by": pl.List(pl.String),
    "reason": pl.String(),
    "told": pl.String(),
}
"""A row per finding: its id in the present report and in the earlier one, null where it has none.

``told`` is the earlier finding as it was written, for what was not judged this time.
"""

KEY = ["rule_set", "rule", "item", "own"]
TOLD = ("outcome", "since", "until", "message")
"""What is told of an earlier finding as it is now, if it still is one."""

ORDER = ("van", "tank", "item", "since", "rule_set", "rule", "finding", "earlier")
AGAIN, OTHER_RULES = "open again", "its rule was not read then"
CORRECTED, SUMMED = "as it stands now, without a later record", "with all records up to it"


@dataclass(frozen=True)
class Changes:
    """What changed since an earlier report; ``frame`` as ``CHANGES``, in order."""

    earlier: Earlier
    frame: pl.DataFrame

    def of(self, state: str) -> pl.DataFrame:
        """Return the changes of one state."""
        return self.frame.filter(pl.col("state") == state)


def changes_since(earlier: Earlier, present: Present) -> Changes:
    """Return what became of each open finding of an earlier report, and what is new."""
    known = _judged(why_not_judged(_answered(earlier, present), earlier, present))
    lasting = known.filter(pl.col("state") != CLOSED)
    frames = [
        _followed(known, present),
        _arisen(earlier, present, lasting),
        _come_and_gone(earlier, present),
    ]
    return Changes(earlier, _in_order(pl.concat(frames)))


def _judged(known: pl.DataFrame) -> pl.DataFrame:
    """Return open findings with their ``state``, and the ``reason`` where a closing needs one."""
    conforms, judged = pl.col("at").is_not_null(), pl.col("reason").is_null()
    closed = pl.when(conforms).then(pl.lit(CLOSED)).otherwise(pl.lit(STILL_OPEN))
    how = (
        pl.when(~pl.col("later"))
        .then(pl.lit(CORRECTED))
        .when("summed")
        .then(pl.lit(SUMMED))
        .otherwise("reason")
    )
    return known.with_columns(
        state=pl.when(judged).then(closed).otherwise(pl.lit(NOT_JUDGED)),
        reason=pl.when(judged & conforms).then(how).otherwise("reason"),
    )


def _in_order(frame: pl.DataFrame) -> pl.DataFrame:
    ranks = [
        pl.col(name).replace_strict(words, range(len(words)), default=9, return_dtype=pl.Int8)
        for name, words in (("state", STATES), ("grading", GRADINGS))
    ]
    return frame.sort(*ranks, *ORDER, nulls_last=True)


def _answered(earlier: Earlier, present: Present) -> pl.DataFrame:
    """Return the open findings of the earlier report with what the inspection answers to each."""
    in_force = pl.col("verdict").filter(pl.col("verdict") <= NOT_APPLICABLE)
    answers = (
        present.answers.sort("asked", "at", nulls_last=True)
        .group_by("asked", maintain_order=True)
        .agg(in_force.first(), pl.exclude("asked", "verdict").first())
    )
    known = earlier.open.join(answers, on="asked", how="left", maintain_order="left")
    return with_closing_records(known, present)


def _followed(known: pl.DataFrame, present: Present) -> pl.DataFrame:
    """Return the changes of earlier findings, each told as the finding of today it has become.

    Several that have become one are told once, as the first of them.
    """
    closed, unjudged = (pl.when(pl.col("state") == one) for one in (CLOSED, NOT_JUDGED))
    changes = known.join(_became(known, present), on="asked", how="left").with_columns(
        *(pl.coalesce(f"{name} now", name).alias(name) for name in TOLD),
        earlier="finding",
        finding="finding now",
        closed_at=closed.then("at"),
        closed_by=closed.then("closed_by"),
        told=unjudged.then("text"),
    )
    one = pl.struct("state", *KEY[:3], pl.coalesce("finding", "earlier"))
    return changes.sort("since", "asked").filter(one.is_first_distinct()).select(*CHANGES)


def _became(known: pl.DataFrame, present: Present) -> pl.DataFrame:
    """Return the finding of today that each earlier one has become, if any, as ``... now``."""
    told = {name: f"{name} now" for name in ("finding", *TOLD)}
    today = _keyed(present.findings).select(*KEY, *told).rename(told)
    met = (pl.col("since now") <= pl.col("until")) & (pl.col("until") <= pl.col("until now"))
    return (
        _keyed(known)
        .join(today, on=KEY)
        .sort(met, "since now", "finding now")
        .group_by("asked")
        .agg(pl.col(*told.values()).last())
    )


def _arisen(earlier: Earlier, present: Present, lasting: pl.DataFrame) -> pl.DataFrame:
    """Return the open findings that no lasting finding of the earlier report has become."""
    opened = present.findings.filter(is_open(present.as_of)).with_row_index("number")
    keyed = _keyed(opened)
    known = keyed.join(_keyed(lasting), on=KEY, how="semi")["number"]
    seen = keyed.join(_keyed(earlier.findings), on=KEY, how="semi")["number"]
    rules = [rule in earlier.rules for rule in opened.select(*KEY[:2]).rows()]
    why = (
        pl.when(pl.col("number").is_in(seen.implode()))
        .then(pl.lit(AGAIN))
        .when(~pl.lit(pl.Series(rules, dtype=pl.Boolean)))
        .then(pl.lit(OTHER_RULES))
    )
    new = opened.with_columns(reason=why).filter(~pl.col("number").is_in(known.implode()))
    return _first_told(new, NEW)


def _come_and_gone(earlier: Earlier, present: Present) -> pl.DataFrame:
    """Return the events that failed after the earlier report and were settled before this one."""
    event = pl.col("subject_kind").is_in(list(EVENT_SUBJECTS))
    settled = pl.col("closed_at").is_not_null() & (pl.col("since") > earlier.as_of)
    gone = present.findings.filter(event & settled)
    return _first_told(gone.with_columns(reason=pl.lit(None, pl.String)), CLOSED)


def _first_told(findings: pl.DataFrame, state: str) -> pl.DataFrame:
    """Return findings that the earlier report did not have, as changes."""
    nothing = (pl.lit(None, pl.String).alias(name) for name in ("earlier", "told"))
    by = pl.col("closed_by") if state == CLOSED else pl.lit(None, CHANGES["closed_by"])
    return findings.with_columns(
        *nothing, state=pl.lit(state), closed_at="closed_at", closed_by=by
    ).select(*CHANGES)


def _keyed(findings: pl.DataFrame) -> pl.DataFrame:
    """Return findings once for each record that they could be known again by.

    A thing is no record: there is one finding about it at a time, so the rule and the item do.
    """
    thing = pl.col("subject_kind").is_in(list(STATE_SUBJECTS))
    own = pl.when(thing).then(pl.concat_list(pl.lit(""))).otherwise("evidence")
    return findings.with_columns(own=own).explode("own", empty_as_null=True)
