"""Why a finding of an earlier report could not be judged again."""

import polars as pl

from qa_engine.conformity import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE, PENDING, UNDECIDED
from qa_engine.lifecycle.earlier import Earlier
from qa_engine.lifecycle.inputs import inputs_of, unread
from qa_engine.lifecycle.present import Present

SHOWN_RECORDS = 5


def why_not_judged(known: pl.DataFrame, earlier: Earlier, present: Present) -> pl.DataFrame:
    """Return the open findings with the ``reason`` why each was not judged; null if it was.

    What conforms without any later record does so because a record, the register, a rule or a
    plugin was changed. Only where rule and plugins are as they were is that a correction.

    Args:
        known: the open findings of the earlier report, with the answers to them.
        earlier: that report.
        present: the present inspection.
    """
    read = [rule in present.rules for rule in known.select("rule_set", "rule").rows()]
    there = inputs_of(present.frames, earlier.as_of)
    return known.with_columns(
        pl.Series("read", read, pl.Boolean),
        missing(known, present).alias("missing"),
        unread(known, earlier.inputs, there).alias("unread"),
    ).with_columns(reason=_reason(_alike(earlier, present)))


def _reason(alike: pl.Expr) -> pl.Expr:
    now = pl.col("verdict")
    corrected = pl.col("at").is_not_null() & ~pl.col("later")
    return (
        pl.when(~pl.col("read"))
        .then(pl.lit("its rule was not read"))
        .when(pl.col("missing").is_not_null())
        .then("missing")
        .when(pl.col("unread").is_not_null())
        .then("unread")
        .when(corrected & ~alike)
        .then(pl.lit("it conforms by a changed rule or plugin, not by a later record"))
        .when(pl.col("at").is_not_null() | now.is_in([DOES_NOT_CONFORM, UNDECIDED, CONFORMS]))
        .then(None)
        .when(now == PENDING)
        .then(pl.lit("its time has not run out"))
        .when(now == NOT_APPLICABLE)
        .then(pl.lit("the rule does not apply to it now"))
        .otherwise(pl.lit("nothing of it was judged by that rule"))
    )


def _alike(earlier: Earlier, present: Present) -> pl.Expr:
    """Tell whether what conforms now was judged by the same words and the same code."""
    if not present.same_tools(earlier):
        return pl.lit(value=False)
    pairs = [f"{rule_set}\n{edition}" for rule_set, edition in present.same_editions(earlier)]
    named = pl.concat_str("rule_set", pl.lit("\n"), "edition now")
    return named.is_in(pairs) & (pl.col("edition") == pl.col("edition now"))


def missing(findings: pl.DataFrame, present: Present) -> pl.Series:
    """Return which records of each finding were not read this time; null if all were."""
    nothing = pl.DataFrame(schema={"evidence": pl.String})
    there = pl.concat(
        [nothing, *(frame.select(evidence="record") for frame in present.frames.values())]
    )
    lacking = (
        findings.select("asked", "evidence")
        .explode("evidence", empty_as_null=True)
        .drop_nulls()
        .join(there, on="evidence", how="anti")
        .group_by("asked")
        .agg(pl.col("evidence").sort())
    )
    more = pl.col("evidence").list.len().cast(pl.Int64) - SHOWN_RECORDS
    counted = pl.when(more > 0).then(pl.format(" and {} more", more)).otherwise(pl.lit(""))
    named = pl.col("evidence").list.head(SHOWN_RECORDS).list.join(", ")
    said = lacking.select("asked", missing=pl.lit("not read this time: ") + named + counted)
    return findings.join(said, on="asked", how="left", maintain_order="left")["missing"]
