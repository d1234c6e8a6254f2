"""Closing: what ends a finding, and the records that show it.

A finding ends with the first later subject of its item that conforms. What a later good value does
not undo ends only with the record of the work that its rule calls for.
"""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.conformity import CONFORMS, DOES_NOT_CONFORM
from qa_engine.history import following
from qa_engine.judging import Judged
from qa_engine.records import KINDS
from qa_engine.rulesets import Rule
from qa_engine.runs import NOWHERE, Places

RECORDS = pl.List(pl.String)


@dataclass(frozen=True)
class Closing:
    """What ended some findings, an entry per finding.

    Attributes:
        place: the place of the subject that conforms, ``NOWHERE`` where none ended it.
        at: when it ended, null while it is open.
        record: the record of that subject, or the settling one; null for things, which are none.
    """

    place: Places
    at: pl.Series
    record: pl.Series


def next_conforming(outcome: NDArray[np.int8], item: Places, places: Places) -> Places:
    """Return for each place the first one from there on that conforms, on the same item.

    Args:
        outcome: outcome of each subject, sorted by (item, at, record), shape (n).
        item: code of each subject's item, shape (n).
        places: where to look from, shape (k).

    Returns:
        Places, ``NOWHERE`` where nothing of the item conforms any more, shape (k).
    """
    good = np.flatnonzero(outcome == CONFORMS)
    if not len(good):
        return np.full(len(places), NOWHERE)
    order = np.searchsorted(good, places)
    found = good[np.minimum(order, len(good) - 1)]
    same = (order < len(good)) & (item[found] == item[places])
    return np.where(same, found, NOWHERE)


def closing_of(judged: Judged, which: int, item: Places, places: Places) -> Closing:
    """Return what ended findings, open ones included.

    Args:
        judged: the subjects and their outcomes.
        which: the place of the requirement in ``judged``.
        item: code of each subject's item.
        places: places of the last member of each finding.
    """
    outcome = judged.outcomes[which]
    found = next_conforming(outcome, item, places)
    at, record = (taken(judged.subjects[name], found) for name in ("at", "record"))
    rule = judged.requirements[which].editions[-1].rule
    if rule.stands_until != "settling record" or rule.settled_by is None:
        return Closing(found, at, record)
    lasts = outcome[places] == DOES_NOT_CONFORM
    work = _settling(judged, rule, rule.settled_by, places)
    both = pl.DataFrame([at, record]).with_columns(work, lasts=lasts)
    ended = both.select(
        pl.when("lasts").then(f"settling {name}").otherwise(name).alias(name)
        for name in ("at", "record")
    )
    return Closing(np.where(lasts, NOWHERE, found), ended["at"], ended["record"])


def _settling(judged: Judged, rule: Rule, kind: str, places: Places) -> pl.DataFrame:
    """Return the first record after each failure that logs the work, nulls where none does."""
    history, item = judged.past.history, KINDS[kind].item
    where = rule.settled_where
    stated = where.names if where else ()
    work = history.of(kind, *dict.fromkeys((item, "at", "record", *stated)))
    work = work.filter(where.expression()) if where else work
    by = item if item in judged.subjects.columns else "item"
    failed: pl.DataFrame = judged.subjects[places]
    asked = failed.select(by, "at", until=pl.lit(judged.past.as_of))
    done = following(asked, work.rename({item: by}), by=by, take=["at", "record"])
    return done.rename(lambda name: f"settling {name}")


def open_since(
    judged: Judged, which: int, item: Places, last: Places, since: datetime
) -> NDArray[np.bool_]:
    """Tell which runs had not both ended and been closed before an instant.

    Where only the work of the rule could have closed a run, it counts as open.
    """
    if judged.requirements[which].editions[-1].rule.stands_until == "settling record":
        return np.ones(len(last), np.bool_)
    at = judged.subjects["at"]
    early: NDArray[np.bool_] = (at < since).to_numpy()
    found = next_conforming(judged.outcomes[which], item, last)
    over: NDArray[np.bool_] = early[last] & (found != NOWHERE) & early[found]
    return ~over


def closed_at(judged: Judged, which: int, item: Places, last: Places) -> list[pl.Series]:
    """Return when each run was closed, null while it is open, and by which records.

    A run is closed by the record that ``closing_of`` finds; of a thing, which is no record itself,
    by the records that the verdict cites.

    Args:
        judged: the subjects and their outcomes.
        which: the place of the runs' requirement in ``judged``.
        item: code of each subject's item.
        last: places of the last member of each run.

    Returns:
        The columns ``closed_at`` and ``closed_by``.
    """
    closing = closing_of(judged, which, item, last)
    shown = pl.DataFrame([closing.record.alias("record"), cited(judged, which, closing.place)])
    itself = pl.concat_list("record").list.drop_nulls()
    by = shown.select(pl.when(pl.col("record").is_null()).then("cited").otherwise(itself))
    return [closing.at.alias("closed_at"), by.to_series().alias("closed_by")]


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
