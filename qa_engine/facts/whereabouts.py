"""Where a record was logged: the van it names, or the one that the register gives its tank to."""

import polars as pl

from qa_engine.history import valid_rows
from qa_engine.register import Register


def with_van(records: pl.DataFrame, register: Register) -> pl.DataFrame:
    """Return records with their van, the tank's van of that time where none was logged.

    Args:
        records: has ``van``, ``tank`` and ``at``.
        register: the operator's register.
    """
    if not records["van"].null_count():
        return records
    registered = valid_rows(records, register, "tanks", ["van"])["van"]
    return records.with_columns(pl.col("van").fill_null(registered))
