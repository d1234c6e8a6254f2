"""The records by which an earlier finding is closed, if it is."""

import polars as pl

from qa_engine.facts import STATE_SUBJECTS
from qa_engine.lifecycle.present import Present

LOGGED: dict[str, pl.DataType] = {
    "asked": pl.UInt32(),
    "at": pl.Datetime("us", "UTC"),
    "record": pl.String(),
}


def with_closing_records(known: pl.DataFrame, present: Present) -> pl.DataFrame:
    """Return open findings with the records that close each, given that it conforms now.

    An event is closed by the record of the first later one that conforms, or by what its own
    verdict newly rests on. A thing is closed by the records that its facts newly cite. Facts that
    are sums over many records cite none of them: then it is the last record of the thing.

    Returns:
        The findings with ``closed_by``; ``later``, whether any of these is later than the finding;
        ``summed``, whether it only stands for all records up to it.
    """
    fresh = pl.col("cited").list.set_difference("evidence").list.sort()
    cites, itself = fresh.list.len() > 0, pl.col("itself")
    event, last = pl.col("record").is_not_null(), pl.col("last record")
    records = (
        pl.when(itself & cites)
        .then(fresh)
        .when(event)
        .then(pl.concat_list("record"))
        .when(last.is_not_null())
        .then(pl.concat_list("last record"))
        .otherwise("cited")
    )
    known = known.join(_last_records(known, present), on="asked", how="left", maintain_order="left")
    return known.with_columns(
        closed_by=records,
        later=~itself | cites | last.is_not_null(),
        summed=~event & ~cites & last.is_not_null(),
    )


def _last_records(known: pl.DataFrame, present: Present) -> pl.DataFrame:
    """Return the ``last record`` about the thing of each finding, of those after the finding."""
    logged = [pl.DataFrame(schema=LOGGED)]
    for column in dict.fromkeys(STATE_SUBJECTS.values()):
        kinds = [kind for kind, item in STATE_SUBJECTS.items() if item == column]
        things = known.filter(pl.col("subject_kind").is_in(kinds)).select("asked", "item", "until")
        for frame in present.frames.values():
            if column in frame.columns:
                mine = frame.select("at", "record", item=column).join(things, on="item")
                logged.append(mine.filter(pl.col("at") > pl.col("until")).select(*LOGGED))
    return (
        pl.concat(logged)
        .sort("at", "record")
        .group_by("asked")
        .agg(pl.col("record").last().alias("last record"))
    )
