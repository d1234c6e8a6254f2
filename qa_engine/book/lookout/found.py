"""What was found, item by item, so that what is judged anew takes the place of little."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import polars as pl

from qa_engine.book.lookout.rejudging import Anew, joined
from qa_engine.inspection import Part
from qa_engine.permissions import LOOKED_AT
from qa_engine.subjects import item_of

Place = tuple[str, str]
"""What a kind of subject belongs to, as a column, and one item of it: ``("tank", "T4")``."""

TABLES = ("findings", "coverage", "due")
COLUMN = "column of the item"


@dataclass(frozen=True)
class Found:
    """What was found, by item.

    Attributes:
        parts: what was found of each item.
        nothing: what is found of an item of which nothing was judged.
    """

    parts: Mapping[Place, Part]
    nothing: Part

    @classmethod
    def of(cls, part: Part, nothing: Part) -> "Found":
        """Return what a part found, item by item."""
        tables = {name: _by_place(getattr(part, name)) for name in TABLES}
        places = dict.fromkeys(place for found in tables.values() for place in found)
        return cls(
            {
                place: replace(nothing, **{n: t[place] for n, t in tables.items() if place in t})
                for place in places
            },
            nothing,
        )

    def taking(self, anew: Anew) -> "Found":
        """Return what was found with what was judged anew in its place."""
        now = Found.of(anew.part, self.nothing).parts
        judged = _by_place(anew.judged)
        changed = {
            place: Anew(now.get(place, self.nothing), rows).in_place_in(
                self.parts.get(place, self.nothing)
            )
            for place, rows in judged.items()
        }
        return Found({**self.parts, **changed}, self.nothing)

    def findings_besides(self, other: "Found") -> pl.DataFrame:
        """Return the findings of those items of which another does not have the very same."""
        mine = [
            part.findings
            for place, part in self.parts.items()
            if other.parts.get(place) is not part
        ]
        return pl.concat([self.nothing.findings, *mine])

    def whole(self) -> Part:
        """Return all of it as one part."""
        part = joined([self.nothing, *self.parts.values()])
        return replace(part, all_told=part.findings.select(*LOOKED_AT))


def _by_place(rows: pl.DataFrame) -> dict[Place, pl.DataFrame]:
    kinds = rows["subject_kind"].unique()
    columns = pl.col("subject_kind").replace_strict(
        kinds, [item_of(k) for k in kinds], return_dtype=pl.String
    )
    parts = rows.with_columns(columns.alias(COLUMN)).partition_by(COLUMN, "item", as_dict=True)
    return {(str(column), str(item)): part.drop(COLUMN) for (column, item), part in parts.items()}
