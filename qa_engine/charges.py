"""Resin charges: the resin in a tank between two resin changes.

A charge is named by its tank and the record that began it, ``TANK@RECORD``; what was in the tank
before the first change on record is ``TANK@start``, and nobody knows when it was loaded. Resin
that is topped up joins the charge; every other change begins a new one. A change that does not
say what was done begins a charge too, but one that is not known: it may have been a top-up, so
nothing is summed from zero there. A tank keeps its charge when it moves to another van.

Whatever happens at the very instant of a change belongs to the charge that the change begins.
"""

from collections.abc import Sequence

import polars as pl

from qa_engine.history import History, latest
from qa_engine.records import TANK_KINDS


def cut_charges(history: History) -> pl.DataFrame:
    """Return the charges of all tanks that have records, sorted by (tank, number).

    Returns:
        A frame of ``tank``; ``charge`` (its id); ``number`` (0 for ``TANK@start``, then 1, 2, ...
        on each tank, Int32); ``begins`` and ``record`` (instant and id of the change that began
        it, null for ``TANK@start``); ``since`` (when it came on record: its begin, for
        ``TANK@start`` the tank's first record); ``ends`` (instant of the next change, null while
        it lasts); ``grade``, ``lot``, ``resin_volume`` (as loaded, without top-ups) [L];
        ``known`` (whether the records say that it was loaded then). ``TANK@start`` is there for
        tanks with a record before their first change.
    """
    begun = _begun(history)
    charges = pl.concat([_at_start(history, begun), begun], how="diagonal")
    return charges.sort("tank", "number").with_columns(
        pl.col("begins").shift(-1).over("tank").alias("ends")
    )


def _begun(history: History) -> pl.DataFrame:
    """Return the charges that changes began; the changes stand in order, and so do these."""
    columns = ("tank", "at", "record", "change", "grade", "lot", "resin_volume")
    changes = history.of("resin_change", *columns)
    return changes.filter(pl.col("change").ne_missing("topped up")).select(
        "tank",
        pl.concat_str("tank", pl.lit("@"), "record").alias("charge"),
        pl.col("tank").cum_count().over("tank").cast(pl.Int32).alias("number"),
        pl.col("at").alias("begins"),
        "record",
        pl.col("at").alias("since"),
        "grade",
        "lot",
        "resin_volume",
        pl.col("change").is_not_null().alias("known"),
    )


def _at_start(history: History, begun: pl.DataFrame) -> pl.DataFrame:
    seen = pl.concat(_firsts(history.of(kind, "tank", "at")) for kind in TANK_KINDS)
    first_seen = seen.group_by("tank").agg(pl.col("at").min().alias("since"))
    first_change = begun.filter(pl.col("number") == 1).select("tank", "begins")
    begins_later = pl.col("begins").is_null() | (pl.col("since") < pl.col("begins"))
    return (
        first_seen.join(first_change, on="tank", how="left")
        .filter(begins_later)
        .select(
            "tank",
            pl.concat_str("tank", pl.lit("@start")).alias("charge"),
            pl.lit(0, pl.Int32).alias("number"),
            "since",
            pl.lit(False).alias("known"),
        )
    )


def _firsts(records: pl.DataFrame) -> pl.DataFrame:
    """Return the first row of each tank; the rows of a tank stand together, earliest first."""
    return records.filter(pl.col("tank").ne_missing(pl.col("tank").shift()))


def charge_at(
    subjects: pl.DataFrame,
    charges: pl.DataFrame,
    take: Sequence[str] = ("charge", "number", "begins", "record", "grade", "known"),
) -> pl.DataFrame:
    """Return the charge that each subject falls in, row for row beside the subjects.

    It is the charge in the subject's tank at its instant. A resin change belongs to the charge
    that it begins, and a subject with a ``charge`` is taken at its word.

    Args:
        subjects: has ``tank`` and ``at``; perhaps ``record``, perhaps ``charge``.
        charges: as ``cut_charges`` returns them.
        take: the columns of ``charges`` to return.

    Returns:
        A frame of the columns ``take``. Where the tank has no charge on record yet, ``number``
        is 0, ``known`` is false and everything else is null.
    """
    numbered = charges.with_row_index("place")
    place = _places(subjects, numbered)
    silent = {"number": pl.lit(0, pl.Int32), "known": pl.lit(False)}
    taken = charges.select(take).select(pl.all().gather(place))
    return taken.with_columns(
        pl.col(name).fill_null(silent[name]) for name in take if name in silent
    )


def _places(subjects: pl.DataFrame, numbered: pl.DataFrame) -> pl.Series:
    if "charge" in subjects.columns:
        return _joined(subjects, numbered, "charge")
    place = latest(subjects, numbered, by="tank", take=["place"], at="since")["place"]
    if "record" not in subjects.columns or not _share_an_instant(numbered):
        return place
    return _joined(subjects, numbered, "record").fill_null(place)


def _joined(subjects: pl.DataFrame, numbered: pl.DataFrame, on: str) -> pl.Series:
    rows = numbered.select(on, "place")
    return subjects.select(on).join(rows, on=on, how="left", maintain_order="left")["place"]


def _share_an_instant(charges: pl.DataFrame) -> bool:
    """Tell whether a tank was changed twice at one instant, so that the instant cannot tell."""
    return bool((charges["begins"] == charges["ends"]).any())


def resin_so_far(history: History, charges: pl.DataFrame) -> pl.DataFrame:
    """Return the resin in each charge after each filling, sorted by (tank, at).

    Returns:
        A frame of ``tank``, ``at``, ``number`` and ``resin_volume`` [L], the top-ups up to then
        in it. The volume is null from the first filling on that does not state its volume, and
        throughout a charge that is not known.
    """
    fillings = history.of("resin_change", "tank", "at", "record", "resin_volume")
    charge = charge_at(fillings, charges, ["charge", "number", "known"])
    loaded = sum_from_the_start("resin_volume").over("charge")
    return pl.concat([fillings, charge], how="horizontal").select(
        "tank", "at", "number", pl.when("known").then(loaded).alias("resin_volume")
    )


def sum_from_the_start(name: str) -> pl.Expr:
    """Return the running sum of a column, null from its first null on."""
    return pl.col(name).fill_null(float("nan")).cum_sum().fill_nan(None)


def so_far_in_charge(
    subjects: pl.DataFrame, numbers: pl.Series, rows: pl.DataFrame, take: Sequence[str]
) -> pl.DataFrame:
    """Return for each subject the last row of its own charge at or before its instant.

    Args:
        subjects: has ``tank`` and ``at``.
        numbers: the number of each subject's charge.
        rows: has ``tank``, ``at``, ``number`` and what to ``take``, sorted by (tank, at).
        take: the columns of ``rows`` to return; ``number`` is null where there is no such row.
    """
    found = latest(subjects, rows, by="tank", take=["number", *take])
    same = found["number"] == numbers
    return found.select(pl.when(same).then(pl.col(name)).alias(name) for name in ("number", *take))
