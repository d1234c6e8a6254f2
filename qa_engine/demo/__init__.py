"""The demo fleet: eighteen months of an invented company's records, blemishes and their causes."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from qa_engine.demo.blemishes import PLANTED, Blemish
from qa_engine.demo.files import README, register_text, write_records
from qa_engine.demo.fleet import AS_OF
from qa_engine.demo.story import Story

__all__ = ["AS_OF", "PLANTED", "SEED", "WRITTEN", "Blemish", "DemoFleet", "write_demo"]

SEED = 73
"""The seed of the fleet that the documentation shows."""


WRITTEN = ("records", "register.yaml", "README.txt")
"""What the folder of a demo fleet holds."""


@dataclass(frozen=True)
class DemoFleet:
    """The files of a demo fleet and the instant at which to look at it."""

    records: tuple[Path, ...]
    register: Path
    as_of: datetime


def write_demo(folder: Path, *, seed: int = SEED) -> DemoFleet:
    """Write the demo fleet's files into a folder, which is made if need be.

    The same seed gives the same bytes. Files of earlier runs are overwritten.

    Args:
        folder: where ``records``, ``register.yaml`` and ``README.txt`` go.
        seed: of the simulation.
    """
    records = write_records(Story(seed).tell(), folder / "records")
    register = folder / "register.yaml"
    register.write_text(register_text(), encoding="utf-8", newline="\n")
    (folder / "README.txt").write_text(README, encoding="utf-8", newline="\n")
    return DemoFleet(records, register, AS_OF)
