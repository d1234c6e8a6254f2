"""The numbering of entries and submissions: nothing lacks, nothing stands where it should not."""

from collections.abc import Iterator
from dataclasses import dataclass

import polars as pl
from sqlalchemy import Connection

from qa_engine.book.breach import Breach
from qa_engine.book.stretch import Stretch, fetched


@dataclass
class Order:
    """Follows the numbers of the entries through the book.

    Attributes:
        last: the last entry there was so far.
    """

    last: int = 0

    def breaches(self, stretch: Stretch) -> Iterator[Breach]:
        """Yield the entries that lack before and in a stretch, and those out of place."""
        rows = stretch.entries
        before = rows["entry"].shift(1, fill_value=self.last)
        for entry, last in (
            rows.select("entry", before.alias("last"))
            .filter(pl.col("entry") != pl.col("last") + 1)
            .iter_rows()
        ):
            yield _gap(entry, last)
        self.last = max([self.last, *rows["entry"].tail(1)])
        yield from _misplaced(stretch)

    def end(self, connection: Connection) -> Iterator[Breach]:
        """Yield the entries that lack at the end, and what is wrong with the submissions."""
        found = fetched(connection, "SELECT max(first_entry + entries - 1) FROM submissions")
        if (last := found[0][0] or 0) > self.last:
            yield Breach("removed: the last submission had more entries", self.last + 1, last)
        for sql, says in _SUBMISSIONS:
            for submission, entry in fetched(connection, sql):
                yield Breach(says.format(submission), entry)


def _gap(entry: int, last: int) -> Breach:
    if entry < 1:
        return Breach("inserted: entries are numbered from 1", entry)
    return Breach("removed: no such entry stands in the book", last + 1, entry - 1)


def _misplaced(stretch: Stretch) -> Iterator[Breach]:
    ranges = stretch.submissions.select("submission", "first_entry", "entries")
    rows = stretch.entries.join(ranges, on="submission", how="left", maintain_order="left")
    inside = (pl.col("entry") >= pl.col("first_entry")) & (
        pl.col("entry") < pl.col("first_entry") + pl.col("entries")
    )
    unknown = rows.filter(pl.col("first_entry").is_null())
    for (number,), part in unknown.group_by("submission", maintain_order=True):
        first, last = part["entry"][0], part["entry"][-1]
        yield Breach(f"their submission {number} was removed or renumbered", first, last)
    for row in rows.filter(~inside).iter_rows(named=True):
        says = f"inserted or moved: it does not belong to submission {row['submission']}"
        yield Breach(says, row["entry"], kind=row["kind"], id=row["id"])


_SUBMISSIONS = (
    (
        """SELECT submission, first_entry FROM (SELECT submission, first_entry,
        lag(submission) OVER (ORDER BY submission) AS one_before,
        lag(first_entry + entries) OVER (ORDER BY submission) AS end_before FROM submissions) AS s
        WHERE submission <> coalesce(one_before, 0) + 1
        OR first_entry <> coalesce(end_before, 1) ORDER BY submission""",
        "submission {} does not follow the one before it: one was removed, inserted or changed",
    ),
    (
        """SELECT s.submission, s.first_entry FROM submissions s
        LEFT JOIN tree_heads t ON t.submission = s.submission
        WHERE s.entries < 1 OR t.size IS NULL OR t.size <> s.first_entry + s.entries - 1
        ORDER BY s.submission""",
        "the tree head of submission {} was removed, or its size was changed",
    ),
    (
        """SELECT t.submission, t.size FROM tree_heads t
        WHERE NOT EXISTS (SELECT 1 FROM submissions s WHERE s.submission = t.submission)
        ORDER BY t.submission""",
        "there is a tree head of submission {}, and no such submission",
    ),
)
