"""SARIF results against an earlier report: new, unchanged, updated or absent (3.27.24)."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import polars as pl

from qa_engine.lifecycle import CLOSED, NEW, NOT_JUDGED, STILL_OPEN, Changes
from qa_engine.report.sarif_parts import LEVELS, fleet_place, message, stated
from qa_engine.report.sarif_tool import rule_id
from qa_engine.subjects import item_of
from qa_engine.wording import rfc3339

STATES = {NEW: "new", STILL_OPEN: "unchanged", CLOSED: "absent", NOT_JUDGED: "unchanged"}
"""The baseline state of what the earlier report had, by what became of it."""

KEY = ["finding", "since"]


@dataclass(frozen=True)
class Baseline:
    """An earlier report as the baseline of a SARIF log."""

    changes: Changes

    def properties(self) -> dict[str, str]:
        """Return which report it was."""
        earlier = self.changes.earlier
        return {"asOf": rfc3339(earlier.as_of), "sha256": earlier.sha256}

    def beside(self, findings: pl.DataFrame) -> pl.DataFrame:
        """Return findings with their state in ``baseline``.

        What the earlier report did not have is new, even if it has been settled since.
        """
        before = self.changes.earlier.findings.select(
            "outcome", "message", "since", earlier="finding", known=pl.lit(value=True)
        ).unique("earlier", keep="last", maintain_order=True)
        now = self.changes.frame.select(*KEY, "earlier", "state").drop_nulls("finding")
        now = now.unique(KEY, keep="first", maintain_order=True)
        table = findings.join(now, on=KEY, how="left", maintain_order="left")
        table = table.with_columns(pl.coalesce("earlier", "finding").alias("earlier"))
        table = table.join(before, on="earlier", how="left", maintain_order="left", suffix=" then")
        same = (pl.col("outcome") == pl.col("outcome then")) & (
            pl.col("message") == pl.col("message then")
        )
        state = (
            pl.when(pl.col("known").is_null() | (pl.col("state") == NEW))
            .then(pl.lit(STATES[NEW]))
            .when(pl.col("state") == CLOSED)
            .then(pl.lit(STATES[CLOSED]))
            .when(same)
            .then(pl.lit("unchanged"))
            .otherwise(pl.lit("updated"))
        )
        return findings.with_columns(table.select(state.alias("baseline")))

    def without_finding(self) -> Iterator[dict[str, Any]]:
        """Yield the results that the earlier report had and that are no finding any more."""
        gone = self.changes.frame.filter(
            pl.col("finding").is_null() & pl.col("state").is_in([CLOSED, NOT_JUDGED])
        )
        yield from map(_result, gone.to_dicts())


def _result(row: dict[str, Any]) -> dict[str, Any]:
    fails = row["outcome"] == "does not conform"
    place = fleet_place(item_of(row["subject_kind"]), row["item"], row["van"], row["tank"])
    return {
        "ruleId": rule_id(row["rule_set"], row["rule"]),
        "kind": "fail" if fails else "open",
        "level": LEVELS[row["grading"]] if fails else "none",
        "message": message(row["message"]),
        "locations": [{"logicalLocations": [place]}],
        "fingerprints": {"finding/v1": row["earlier"]},
        "baselineState": STATES[row["state"]],
        "properties": {
            "tags": [row["state"]],
            "grading": row["grading"],
            "outcome": row["outcome"],
            "since": rfc3339(row["since"]),
            "until": rfc3339(row["until"]),
            **stated(
                closedAt=row["closed_at"] and rfc3339(row["closed_at"]),
                closedBy=row["closed_by"],
                reason=row["reason"],
            ),
        },
    }
