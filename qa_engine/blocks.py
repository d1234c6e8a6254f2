"""Cutting the work of judging: block by block of whole tanks, then what belongs to no tank."""

from collections.abc import Iterable, Iterator
from itertools import groupby

from qa_engine.history import History
from qa_engine.judging import Requirement
from qa_engine.subjects import is_judged_in_blocks

Batch = list[Requirement]


def batches_of(requirements: Iterable[Requirement]) -> list[Batch]:
    """Return requirements that can be judged together: same subject, same time to fulfil."""

    def together(one: Requirement) -> tuple[str, float]:
        return one.subject, one.within.total_seconds() if one.within else -1.0

    return [list(batch) for _, batch in groupby(sorted(requirements, key=together), key=together)]


def in_blocks(
    requirements: Iterable[Requirement], history: History, blocks: int | None
) -> Iterator[tuple[list[Batch], History]]:
    """Yield what is to be judged together with the part of the history to judge it on.

    Args:
        requirements: what to judge by.
        history: all records.
        blocks: how many blocks of tanks; by default as many as keep a block small.
    """
    batches = batches_of(requirements)
    of_tanks = [batch for batch in batches if is_judged_in_blocks(batch[0].subject)]
    for block in history.blocks(blocks):
        yield of_tanks, block
    yield [batch for batch in batches if not is_judged_in_blocks(batch[0].subject)], history
