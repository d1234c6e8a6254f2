"""Ids for records of tables that give them none: made of what the row says, always the same."""

import re
from collections.abc import Sequence
from hashlib import sha256

import polars as pl

DIGITS = 20
"""How much of the digest an id shows; of ten million rows two agree once in 24,000 such books."""

_LONGEST_NAME = 24
_END = "\N{INFORMATION SEPARATOR ONE}"


class RecordIds:
    """Makes the ids of one table's records.

    The id is a digest of the sheet, the kind and the cells as they are written, so the same file
    gives the same ids whenever it is read. Rows that say the same are told apart by their order.

    Args:
        sheet: the sheet, which stands before the digest; empty for files without sheets.
        always: what the map adds to every row.
    """

    def __init__(self, sheet: str, always: str) -> None:
        self._start = "-".join(re.findall(r"\w+", sheet))[:_LONGEST_NAME] or "row"
        self._fresh = sha256(f"{sheet}{_END}{always}".encode())
        self._seen = pl.Series(dtype=pl.UInt64)
        self.same = 0

    def make(self, cells: pl.DataFrame, names: Sequence[str]) -> pl.Series:
        """Return an id for each row.

        Args:
            cells: the cells as written.
            names: the columns that tell one record from another.
        """
        said = cells.select(
            pl.concat_str(pl.col(list(names)).fill_null(""), separator=_END).alias("said")
        )["said"]
        again = self._occurrences(said)
        if (again > 0).any():
            told = said + _END + again.cast(pl.String)
            said = told.zip_with(again > 0, said)
        digests = pl.Series("record", list(map(self._digest, said.to_list())), dtype=pl.String)
        return (f"{self._start}-" + digests).alias("record")

    def _digest(self, said: str) -> str:
        digest = self._fresh.copy()
        digest.update(said.encode())
        return digest.hexdigest()[:DIGITS]

    def _occurrences(self, said: pl.Series) -> pl.Series:
        """Return how many rows before each said the same."""
        hashes = said.hash()
        within = hashes.to_frame("h").select(pl.int_range(pl.len()).over("h").alias("n"))["n"]
        known = self._seen.filter(self._seen.is_in(hashes.implode())).value_counts(name="before")
        if known.height:
            column = known.columns[0]
            earlier = hashes.replace_strict(known[column], known["before"], default=0)
            within = within + earlier
        self._seen = pl.concat([self._seen, hashes.cast(pl.UInt64)])
        self.same += int((within > 0).sum())
        return within
