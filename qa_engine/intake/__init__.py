"""The intake: files of records and registers are read here, and everything in them is checked."""

from qa_engine.intake.column_map import ColumnMap, map_of, read_map
from qa_engine.intake.desk import Intake
from qa_engine.intake.job_list import read_jobs
from qa_engine.intake.mapped_files import read_with_map
from qa_engine.intake.proposal import propose_map
from qa_engine.intake.record_files import read_records
from qa_engine.intake.refused import REFUSED, place_of, write_refused
from qa_engine.intake.register_files import read_register
from qa_engine.intake.written_file import WrittenFile

__all__ = [
    "REFUSED",
    "ColumnMap",
    "Intake",
    "WrittenFile",
    "map_of",
    "place_of",
    "propose_map",
    "read_jobs",
    "read_map",
    "read_records",
    "read_register",
    "read_with_map",
    "write_refused",
]
