"""An earlier report, read back from its JSON."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from hashlib import sha256
from typing import Any

import polars as pl

from qa_engine.errors import ReportError
from qa_engine.facts import STATE_SUBJECTS
from qa_engine.lifecycle.inputs import INPUTS
from qa_engine.wording import plain_json

INSTANT = pl.Datetime("us", "UTC")
TEXT = (str,)
TEXT_OR_NULL = (str, type(None))

WRITTEN: dict[str, tuple[type, ...]] = {
    **dict.fromkeys(("finding", "rule_set", "rule", "edition", "grading", "outcome"), TEXT),
    "subject": (dict,),
    **dict.fromkeys(("item", "van", "tank"), TEXT_OR_NULL),
    **dict.fromkeys(("since", "until", "message"), TEXT),
    "evidence": (list,),
    "closed_at": TEXT_OR_NULL,
}
"""The members of a finding that its life depends on, and what each is in JSON."""

FINDINGS: dict[str, pl.DataType] = {
    **{name: pl.String() for name in WRITTEN if name not in ("subject", "evidence")},
    "subject_kind": pl.String(),
    "evidence": pl.List(pl.String),
    "text": pl.String(),
}


@dataclass(frozen=True)
class Earlier:
    """What an earlier report said.

    Attributes:
        name: the file it was read from.
        sha256: digest of that file.
        as_of: the instant of its inspection.
        findings: its findings, with those it took over from a report before it; ``open`` says
            whether each was open then, ``text`` is the finding as it was written.
        rules: rule set and rule of every rule that judged.
        texts: the digest of each edition, by rule set and edition.
        tools: name, digest and state of the engine and each plugin that judged.
        inputs: how many records of each kind it rests on, by item.
    """

    name: str
    sha256: str
    as_of: datetime
    findings: pl.DataFrame
    rules: frozenset[tuple[str, str]]
    texts: Mapping[tuple[str, str], str]
    tools: frozenset[tuple[str, str, str]]
    inputs: pl.DataFrame

    @cached_property
    def open(self) -> pl.DataFrame:
        """Return the findings that were open, numbered in ``asked``."""
        return self.findings.filter("open").with_row_index("asked")


def is_open(as_of: datetime) -> pl.Expr:
    """Tell of each finding whether it is open as of the instant of its inspection.

    An event stays open until a later one conforms; a thing is open if it is so at that instant.
    """
    thing = pl.col("subject_kind").is_in(list(STATE_SUBJECTS))
    return pl.col("closed_at").is_null() & (~thing | (pl.col("until") == as_of))


def is_of_interest(as_of: datetime, earlier: Earlier | None) -> pl.Expr:
    """Tell which findings matter even outside a period: open ones, and those new since then."""
    return is_open(as_of) if earlier is None else is_open(as_of) | (pl.col("since") > earlier.as_of)


def earlier_report(name: str, content: bytes) -> Earlier:
    """Return an earlier report from the bytes of its JSON.

    Raises:
        ReportError: it is not a report of this program, or lacks what is needed.
    """
    try:
        written = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise ReportError(
            f"{name}: not JSON ({error}); name a report kept with --format json"
        ) from None
    if not isinstance(written, dict) or written.get("report") != 1:
        raise ReportError(f"{name}: not a report of this program; keep one with --format json")
    try:
        return _read(name, written, sha256(content).hexdigest())
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise ReportError(
            f"{name}: a report that lacks something or was altered ({error!r})"
        ) from None


def _read(name: str, written: Mapping[str, Any], digest: str) -> Earlier:
    as_of = datetime.fromisoformat(written["as_of"]).astimezone(UTC)
    own = [*written["findings"], *written["open_outside_period"]]
    carried = [one["told"] for one in written.get("against", {}).get("not_judged", [])]
    findings = pl.concat(
        [
            _frame(name, own).with_columns(open=is_open(as_of)),
            _frame(name, carried).with_columns(open=pl.lit(value=True)),
        ]
    )
    return Earlier(
        name,
        digest,
        as_of,
        findings,
        frozenset((one["rule_set"], one["rule"]) for one in written["coverage"]),
        {(one["rule_set"], one["edition"]): one["sha256"] for one in written["rule_sets"]},
        tools_of(written["engine"]["version"], written["plugins"]),
        _inputs(written["inputs"]),
    )


def tools_of(version: str, plugins: Iterable[Mapping[str, Any]]) -> frozenset[tuple[str, str, str]]:
    """Return what judged: the engine with its version, each plugin with digest and state."""
    named = [(one["name"], str(one["sha256"]), one["state"]) for one in plugins]
    return frozenset([("qa_engine", version, ""), *named])


def _frame(name: str, findings: list[Any]) -> pl.DataFrame:
    rows = [_row(name, one) for one in findings]
    frame = pl.DataFrame(rows, schema=FINDINGS, orient="row").with_columns(
        pl.col("since", "until", "closed_at").str.to_datetime(
            "%Y-%m-%dT%H:%M:%S%.fZ", time_unit="us", time_zone="UTC", strict=False
        )
    )
    if unclear := frame.filter(pl.any_horizontal(pl.col("since", "until").is_null())).height:
        raise ReportError(f"{name}: {unclear} findings with a 'since' or 'until' that is no time")
    return frame


def _row(name: str, finding: Any) -> list[Any]:
    if not isinstance(finding, dict):
        raise ReportError(f"{name}: {finding!r} is not a finding")
    for member, types in WRITTEN.items():
        if not isinstance(finding.get(member, ()), types):
            raise ReportError(f"{name}: a finding has no right '{member}': {finding!r:.200}")
    written = [finding[n] for n in FINDINGS if n in WRITTEN and n != "evidence"]
    kind, evidence = finding["subject"]["kind"], [str(one) for one in finding["evidence"]]
    return [*written, str(kind), evidence, plain_json(finding)]


def _inputs(written: Mapping[str, Mapping[str, int]]) -> pl.DataFrame:
    rows = [(kind, item, int(n)) for kind, items in written.items() for item, n in items.items()]
    return pl.DataFrame(rows, schema=INPUTS, orient="row")
