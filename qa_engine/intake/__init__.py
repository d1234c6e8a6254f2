"""The intake: files of records and registers are read here, and everything in them is checked."""

from qa_engine.intake.record_files import Intake, read_records
from qa_engine.intake.refused import REFUSED, write_refused
from qa_engine.intake.register_files import read_register
from qa_engine.intake.written_file import WrittenFile

__all__ = ["REFUSED", "Intake", "WrittenFile", "read_records", "read_register", "write_refused"]
