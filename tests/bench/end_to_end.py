"""A whole inspection from file to file; run as a script, one of them in a process of its own.

As a script: ``end_to_end.py RECORDS REGISTER OUT [RULES]`` prints seconds and peak memory as JSON.
"""

import json
import resource
import subprocess
import sys
import time
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from fleet import STARTS, Fleet

from qa_engine.cli.rule_files import rule_sources
from qa_engine.inspection import Assignment, inspect
from qa_engine.intake import read_records, read_register
from qa_engine.plugin_host import installed_plugins
from qa_engine.report import Report, Tally
from qa_engine.report.as_json import json_pieces
from qa_engine.subjects import Period

AS_OF = datetime(2040, 1, 1, tzinfo=STARTS.tzinfo)
"""After all records, so that none is later."""


def inspect_files(
    records: Path,
    register: Path,
    out: Path,
    rules: Sequence[Path] = (),
    as_of: datetime = AS_OF,
    period: Period | None = None,
) -> Report:
    """Inspect a file of records and write the report as JSON; no ``rules`` means those shipped."""
    known = read_register(register)
    intake = read_records([records])
    assignment = Assignment(intake.frames, known, as_of, period)
    inspection = inspect(assignment, installed_plugins(), rule_sources(rules))
    report = Report(inspection, Tally(intake.read, intake.refused_rows, intake.repeated))
    with out.open("w", encoding="utf-8") as stream:
        stream.writelines(json_pieces(report))
    return report


def inspect_apart(
    fleet: Fleet, folder: Path, rules: Sequence[Path], times: int
) -> tuple[float, float]:
    """Return the median time [s] and the greatest peak memory [GB] of inspections in children."""
    records, register = files_of(fleet, folder)
    call = [sys.executable, __file__, records, register, folder / "report.json", *rules]
    runs = [
        json.loads(subprocess.run(call, check=True, capture_output=True).stdout)
        for _ in range(times)
    ]
    taken = sorted(run["seconds"] for run in runs)
    return taken[len(taken) // 2], max(run["peak_gb"] for run in runs)


def files_of(fleet: Fleet, folder: Path) -> tuple[Path, Path]:
    """Return the files of a fleet's records and register, written if they are not there yet."""
    stem = folder / f"fleet-{fleet.records}-{fleet.tank_count}-{fleet.days}"
    records, register = stem.with_suffix(".parquet"), stem.with_suffix(".yaml")
    if not records.exists():
        fleet.write_records(records)
        fleet.write_register(register)
    return records, register


def main() -> None:
    """Inspect the files named in the call and print what it took."""
    records, register, out, *rules = map(Path, sys.argv[1:])
    starts = time.perf_counter()
    inspect_files(records, register, out, rules)
    taken = time.perf_counter() - starts
    peak_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(json.dumps({"seconds": taken, "peak_gb": peak_gb}))


if __name__ == "__main__":
    main()
