"""Runs: neighbouring subjects of one item with the same outcome count as one finding."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qa_engine.conformity import CONFORMS, DOES_NOT_CONFORM, UNDECIDED

Places = NDArray[np.int64]
NOWHERE = -1


@dataclass(frozen=True)
class Runs:
    """The runs that do not conform or are undecided; every array has an entry per run.

    Places are rows in the frame of subjects; ``NOWHERE`` stands for none.

    Attributes:
        outcome: what the members have in common.
        first, last: places of the first and last member.
        members: places of all members, run after run; ``run_of`` says which run each belongs to.
        conformed_before: place of the last subject of the item that conformed before the run.
        followed_by: place of the first member of the run by which the item's next verdict was
            given. What could not be decided settles nothing, so it follows only the undecided.
    """

    outcome: NDArray[np.int8]
    first: Places
    last: Places
    members: Places
    run_of: Places
    conformed_before: Places
    followed_by: Places


_NOTHING = np.zeros(0, np.int64)
_NO_RUNS = Runs(np.zeros(0, np.int8), *(_NOTHING,) * 6)


def runs_of(
    outcome: NDArray[np.int8],
    item: Places,
    charge: Places,
    wording: NDArray[np.int8],
    permission: NDArray[np.int16] | None = None,
) -> Runs:
    """Return the runs among subjects sorted by (item, at, record).

    What is not applicable, pending or not in force is passed over. A run also ends where the
    edition or the permission changes and at a resin change.

    Args:
        outcome: outcome of each subject, shape (n).
        item: code of each subject's item, shape (n).
        charge: number of the resin charge each subject falls in, shape (n).
        wording: which edition judged, shape (n).
        permission: which permission covers each subject, shape (n); None if none covers any.
    """
    decided = np.flatnonzero(
        (outcome == CONFORMS) | (outcome == DOES_NOT_CONFORM) | (outcome == UNDECIDED)
    )
    if not len(decided):
        return _NO_RUNS
    result, thing = outcome[decided], item[decided]
    permitted = () if permission is None else (permission[decided],)
    starts = _starts(result, thing, charge[decided], wording[decided], *permitted)
    ends = np.append(starts[1:], len(decided)) - 1
    kept = np.flatnonzero(result[starts] != CONFORMS)
    lengths = (ends - starts + 1)[kept]
    members = _ranges(starts[kept], lengths)
    return Runs(
        outcome=result[starts][kept],
        first=decided[starts[kept]],
        last=decided[ends[kept]],
        members=decided[members],
        run_of=np.repeat(np.arange(len(kept)), lengths),
        conformed_before=_conformed_before(result, thing, starts, decided)[kept],
        followed_by=_followed_by(result, thing, starts, decided)[kept],
    )


def _starts(*columns: NDArray[np.int8] | NDArray[np.int16] | Places) -> Places:
    changed = np.zeros(len(columns[0]), bool)
    changed[0] = True
    for column in columns:
        changed[1:] |= column[1:] != column[:-1]
    return np.flatnonzero(changed)


def _ranges(starts: Places, lengths: Places) -> Places:
    """Return start, start + 1, ... for each run, one after the other."""
    before = np.cumsum(lengths) - lengths
    places: Places = np.arange(lengths.sum()) + np.repeat(starts - before, lengths)
    return places


def _conformed_before(
    result: NDArray[np.int8], thing: Places, starts: Places, decided: Places
) -> Places:
    places = np.where(result == CONFORMS, np.arange(len(result)), NOWHERE)
    latest = np.maximum.accumulate(places)
    found = np.where(starts > 0, latest[starts - 1], NOWHERE)
    same = (found != NOWHERE) & (thing[found] == thing[starts])
    return np.where(same, decided[found], NOWHERE)


def _followed_by(
    result: NDArray[np.int8], thing: Places, starts: Places, decided: Places
) -> Places:
    nobody = len(starts)
    order = np.arange(nobody)
    verdicts = np.where(result[starts] == UNDECIDED, nobody, order)
    next_verdict = np.append(np.minimum.accumulate(verdicts[::-1])[::-1], nobody)[1:]
    after = np.where(result[starts] == UNDECIDED, order + 1, next_verdict)
    found = starts[np.minimum(after, nobody - 1)]
    same = (after < nobody) & (thing[found] == thing[starts])
    return np.where(same, decided[found], NOWHERE)
