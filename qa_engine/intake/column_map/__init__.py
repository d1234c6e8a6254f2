"""Column maps: what the columns of people's own tables mean, written in YAML.

A map is a file of the engine's own form. It says per table which rows hold the heads, which kind
of record the rows are, and per column which field it fills, in which unit, with which decimal
sign and order of dates, and what the words in it mean.
"""

from qa_engine.intake.column_map.column_map import (
    UNANSWERED,
    Column,
    ColumnMap,
    MappedTable,
    Question,
)
from qa_engine.intake.column_map.mapped_rows import MappedBatch, mapped_batches
from qa_engine.intake.column_map.reading import check_answered, map_of, read_map

__all__ = [
    "UNANSWERED",
    "Column",
    "ColumnMap",
    "MappedBatch",
    "MappedTable",
    "Question",
    "check_answered",
    "map_of",
    "mapped_batches",
    "read_map",
]
