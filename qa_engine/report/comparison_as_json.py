"""A comparison of editions as JSON: the same bytes for the same comparison."""

from collections.abc import Iterable, Iterator
from typing import Any

import polars as pl

import qa_engine
from qa_engine.preview import Pair
from qa_engine.report.comparison import Comparison
from qa_engine.rulesets import Edition
from qa_engine.wording import plain_json, rfc3339

VERSION = 1
INSTANT = "%Y-%m-%dT%H:%M:%S%.fZ"


def comparison_json(comparison: Comparison) -> str:
    """Return the comparison as JSON text, ending with a line feed."""
    preview = comparison.preview
    members = {
        **{name: plain_json(value) for name, value in _head(comparison).items()},
        "rules": _lines(map(plain_json, map(_rule, preview.adoption.pairs))),
        "counts": _lines(map(plain_json, preview.changes_by_place.to_dicts())),
        "work": _lines(map(plain_json, preview.work_by_place.to_dicts())),
        "jobs": _lines(_jobs(preview.jobs)),
        "changes": _lines(_changes(preview.changes)),
    }
    return "{\n" + ",\n".join(f'"{name}": {text}' for name, text in members.items()) + "\n}\n"


def _head(comparison: Comparison) -> dict[str, Any]:
    preview, tally = comparison.preview, comparison.tally
    counted = {"read": tally.read, "accepted": preview.used, "refused": tally.refused}
    return {
        "comparison": VERSION,
        "as_of": rfc3339(preview.assignment.as_of),
        "first_record": preview.first and rfc3339(preview.first),
        "counted_from": {
            name: rfc3339(start) for name, start in preview.starts.items() if name != "in_all"
        },
        "complete": comparison.complete,
        "engine": {"version": qa_engine.__version__},
        "old": list(map(_edition, preview.adoption.old)),
        "new": list(map(_edition, preview.adoption.new)),
        "plugins": [
            {"name": p.name, "version": p.version, "sha256": p.sha256, "state": p.state}
            | {"reason": p.reason}
            for p in preview.plugins
        ],
        "records": {**counted, "repeated": tally.repeated, "later": preview.later},
        "notes": list(preview.adoption.notes),
    }


def _edition(edition: Edition) -> dict[str, str]:
    return {
        "rule_set": edition.rule_set,
        "edition": edition.edition,
        "sha256": edition.sha256,
    }


def _rule(pair: Pair) -> dict[str, Any]:
    names = {"rule_set": pair.rule_set, "rule": pair.rule, "subject_kind": pair.subject}
    differences = [difference._asdict() for difference in pair.differences]
    return {**names, "standing": pair.standing, "differences": differences}


def _jobs(jobs: pl.DataFrame) -> Iterator[str]:
    """Yield the jobs that the two sides do not call for alike."""
    unlike = ~pl.col("old_since").eq_missing(pl.col("new_since")) | (pl.col("old") != pl.col("new"))
    instants = pl.col("old_since", "new_since", "done").dt.strftime(INSTANT)
    yield from map(plain_json, jobs.filter(unlike).with_columns(instants).to_dicts())


def _changes(changes: pl.DataFrame) -> Iterator[str]:
    table = changes.with_columns(pl.col("at").dt.strftime(INSTANT))
    ready = ("measured", "old_limits", "new_limits")
    head = pl.struct(name for name in table.columns if name not in ready).struct.json_encode()
    parts: list[pl.Expr] = [head.str.strip_suffix("}")]
    for name in ready:
        parts += [pl.lit(f',"{name}":'), pl.col(name)]
    yield from table.select(pl.concat_str(*parts, pl.lit("}")).alias("line"))["line"]


def _lines(texts: Iterable[str]) -> str:
    listed = ",\n".join(texts)
    return f"[\n{listed}\n]" if listed else "[]"
