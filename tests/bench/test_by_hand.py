"""The engine and code written by hand for ten rules find the same in an invented fleet."""

from importlib import import_module
from pathlib import Path

import pytest

HERE = Path(__file__).parent
COUNTS = ("conforms", "does_not_conform", "undecided")


@pytest.fixture
def both(monkeypatch, tmp_path):
    """Return what the engine and what the hand-written code find in 20,000 records."""
    monkeypatch.syspath_prepend(HERE)
    fleet = import_module("fleet").Fleet(20_000)
    end_to_end, by_hand = import_module("end_to_end"), import_module("by_hand")
    files = end_to_end.files_of(fleet, tmp_path)
    report = end_to_end.inspect_files(*files, tmp_path / "report.json", [HERE / "rules.yaml"])
    return report.inspection, by_hand.inspect_by_hand(*files, tmp_path / "by_hand.jsonl")


def test_engine_and_hand_written_code_agree_on_every_count_and_finding(both):
    inspection, by_hand = both
    coverage = inspection.coverage.iter_rows(named=True)
    assert {row["rule"]: tuple(row[n] for n in COUNTS) for row in coverage} == by_hand.counts
    assert all(fails + undecided > 0 for _, fails, undecided in by_hand.counts.values())
    columns = ["finding", "subject", "van", "tank", "since", "until", "missing", "evidence"]
    ours, theirs = (
        f.select(columns).sort("finding") for f in (inspection.findings, by_hand.findings)
    )
    assert ours.height > 1_000
    assert ours.equals(theirs)
