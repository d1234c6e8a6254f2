"""What a report says as a whole: whether it is complete, and what that means for the caller."""

from dataclasses import dataclass, field

import polars as pl

from qa_engine.explanation import Explanations
from qa_engine.inspection import Inspection

NONE_FAILS, NOT_MET, INCOMPLETE = 0, 1, 3
"""Exit statuses; 2 is for calls, registers and rules that are wrong, so nothing was judged."""


@dataclass(frozen=True)
class Tally:
    """What became of the rows that were read.

    Attributes:
        read: rows in all files.
        refused: rows that could not be taken.
        repeated: identical repeats of an accepted row, kept once.
        notes: what the reader should know about the intake, a sentence each.
    """

    read: int = 0
    refused: int = 0
    repeated: int = 0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Report:
    """An inspection together with what became of the records it was given.

    ``explained`` says why each finding is one; None unless that was asked for.
    """

    inspection: Inspection
    tally: Tally = field(default_factory=Tally)
    explained: Explanations | None = None

    @property
    def complete(self) -> bool:
        """Tell whether everything given was judged by everything asked for."""
        whole = not self.inspection.plugins_failed and self.tally.refused == 0
        return whole and self.inspection.used > 0 and self.inspection.judged > 0

    @property
    def unmet(self) -> pl.DataFrame:
        """Return the major and minor findings that do not conform and have no permission.

        Of a period all of them count; without one, those that still stand.
        """
        findings = self.inspection.findings
        counts = pl.lit(self.inspection.assignment.period is not None) | pl.col("stands")
        return findings.filter(
            counts
            & (pl.col("outcome") == "does not conform")
            & (pl.col("grading") != "advice")
            & pl.col("permission").is_null()
        )

    @property
    def exit_status(self) -> int:
        """Return 3 if the report is incomplete, else 1 if a requirement is not met, else 0."""
        if not self.complete:
            return INCOMPLETE
        return NOT_MET if self.unmet.height else NONE_FAILS
