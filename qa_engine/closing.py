"""Closing: the first subject that conforms after a finding, and the records that show it."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.conformity import CONFORMS
from qa_engine.history import following
from qa_engine.judging import Judged
from qa_engine.records import KINDS
from qa_engine.runs import NOWHERE, Places

RECORDS = pl.List(pl.String)


def next_conforming(outcome: NDArray[np.int8], item: Places, places: Places) -> Places:
    """Return for each place the first one from there on that conforms, on the same item.

    Args:
        outcome: outcome of each subject, sorted by (item, at, record), shape (n).
        item: code of each subject's item, shape (n).
        places: where to look from, ``NOWHERE`` for nowhere at all, shape (k).

    Returns:
        Places, ``NOWHERE`` where nothing of the item conforms any more, shape (k).
    """
    good = np.flatnonzero(outcome == CONFORMS)
    if not len(good):
        return np.full(len(places), NOWHERE)
    order = np.searchsorted(good, places)
    found = good[np.minimum(order, len(good) - 1)]
    same = (places != NOWHERE) & (order < len(good)) & (item[found] == item[places])
    return np.where(same, found, NOWHERE)


def closing_places(judged: Judged, which: int, item: Places, places: Places) -> Places:
    """Return the place of the subject that closes each failure, ``NOWHERE`` while it is open.

    It is the first later one of the item that conforms; for a rule that stands until a settling
    record, the first one from that record on.

    Args:
        judged: the subjects and their outcomes.
        which: the place of the requirement in ``judged``.
        item: code of each subject's item.
        places: places of the last member of each failure.
    """
    rule = judged.requirements[which].editions[-1].rule
    if rule.stands_until == "settling record" and rule.settled_by:
        places = _settled(judged, rule.settled_by, places)
    return next_conforming(judged.outcomes[which], item, places)


def _settled(judged: Judged, kind: str, places: Places) -> Places:
    """Return the first subject of each item once the work was logged, ``NOWHERE`` before that."""
    past, by = judged.past, KINDS[kind].item
    by = by if by in judged.subjects.columns else "item"
    work = past.history.of(kind, KINDS[kind].item, "at").rename({KINDS[kind].item: by})
    failed: pl.DataFrame = judged.subjects[places]
    asked = failed.select(by, "at", until=pl.lit(past.as_of))
    done = following(asked, work, by=by, take=["at"])["at"]
    rows = judged.subjects.select("item", "at").with_row_index("place")
    later = failed.select("item").with_columns(done.alias("at")).with_row_index("failure")
    first = later.drop_nulls("at").join_asof(
        rows, on="at", by="item", strategy="forward", check_sortedness=False
    )
    found = np.full(len(places), NOWHERE)
    found[first["failure"]] = first["place"].fill_null(NOWHERE)
    return found


def closed_at(judged: Judged, which: int, item: Places, last: Places) -> list[pl.Series]:
    """Return when each run was closed, null while it is open, and by which records.

    A run is closed by the first subject of its item that conforms after it; of a thing, which is
    no record itself, by the records that the verdict cites.

    Args:
        judged: the subjects and their outcomes.
        which: the place of the runs' requirement in ``judged``.
        item: code of each subject's item.
        last: places of the last member of each run.

    Returns:
        The columns ``closed_at`` and ``closed_by``.
    """
    found = closing_places(judged, which, item, last)
    records = taken(judged.subjects["record"], found).alias("closed_by")
    shown = records.to_frame().select(pl.concat_list("closed_by").list.drop_nulls())["closed_by"]
    if judged.subjects["record"].null_count():
        shown = cited(judged, which, found).alias("closed_by")
    return [taken(judged.subjects["at"], found).alias("closed_at"), shown]


def cited(judged: Judged, which: int, places: Places) -> pl.Series:
    """Return the records that the facts of verdicts were found in; none for ``NOWHERE``."""
    evidence = judged.known.evidence
    names = [evidence[n] for n in judged.requirements[which].needs() if n in evidence]
    nothing = pl.Series("nothing", [None], pl.String).new_from_index(0, len(places))
    columns = [taken(judged.known.frame[name], places) for name in dict.fromkeys(names)]
    return (
        pl.DataFrame([nothing, *columns])
        .select(pl.concat_list(pl.all()).list.drop_nulls().list.unique(maintain_order=True))
        .to_series()
        .alias("cited")
    )


def taken(column: pl.Series, places: Places) -> pl.Series:
    """Return what stands at some places of a column; null for ``NOWHERE``."""
    known = pl.Series(places, dtype=pl.Int64).set(pl.Series(places == NOWHERE), None)
    return column.gather(known)
