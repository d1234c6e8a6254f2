"""Refused rows written down whole, to be mended in a spreadsheet program and read again."""

from pathlib import Path

import polars as pl

from qa_engine.errors import IntakeError
from qa_engine.intake.desk import Intake
from qa_engine.intake.heads import REFUSED_BECAUSE, REFUSED_IN, REFUSED_LINE
from qa_engine.intake.refused import harmless
from qa_engine.records import RECORD_FIELDS


def rows_to_mend(intake: Intake) -> pl.DataFrame:
    """Return the refused rows with all their cells, and for each what is wrong with it.

    The columns bear our names and numbers carry their units, so the mended file is read without a
    map; columns that say where and why a row was refused are read over. Rows that could not be
    split into cells, and rows refused for an id that another row has, are not among them.
    """
    if not intake.to_mend.height:
        return pl.DataFrame(schema=dict.fromkeys((*_ABOUT, "record", "kind", "at"), pl.String()))
    fault = pl.concat_str(
        pl.concat_str(pl.col("field"), pl.lit(": ")).fill_null(""),
        pl.concat_str(pl.lit("'"), pl.col("written"), pl.lit("' ")).fill_null(""),
        pl.col("expected"),
    )
    where = pl.coalesce(pl.concat_str("source", pl.lit("!"), "cell"), pl.col("source"))
    told = intake.refused.group_by("source", "line", "record", maintain_order=True).agg(
        where.first().alias("where"), fault.str.join("; ").alias(REFUSED_BECAUSE)
    )
    rows = intake.to_mend.with_columns(pl.col("record").cast(pl.String))
    rows = rows.join(
        told,
        left_on=[REFUSED_IN, REFUSED_LINE, "record"],
        right_on=["source", "line", "record"],
        how="left",
        nulls_equal=True,
        maintain_order="left",
    )
    filled = [name for name in RECORD_FIELDS if name in rows.columns]
    return rows.select(*_ABOUT, *filled)


_ABOUT = (REFUSED_IN, REFUSED_LINE, REFUSED_BECAUSE)


def write_to_mend(intake: Intake, path: Path) -> int:
    """Write refused rows to a CSV file that can be mended and read again; return how many.

    Raises:
        IntakeError: the file cannot be written.
    """
    rows = rows_to_mend(intake)
    cells = [harmless(name) if dtype == pl.String else name for name, dtype in rows.schema.items()]
    try:
        rows.select(cells).write_csv(path)
    except OSError as error:
        raise IntakeError(f"cannot be written: {error}") from None
    return rows.height
