"""Facts about use: whether a tank, its van or the meter stands out of use."""

import polars as pl

from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.facts.whereabouts import with_van
from qa_engine.history import History, latest


def standing(history: History) -> pl.DataFrame:
    """Return each taking out of use and return to use, sorted by (item, at).

    Returns:
        A frame of ``item``, ``at``, ``record`` and ``out`` (whether the item is out of use from
        then on). Of several at one instant the last row decides: it is an out of use, if there
        is one among them, since the cautious reading wins.
    """
    changes = [
        history.of(kind, "item", "at", "record").with_columns(pl.lit(out).alias("out"))
        for kind, out in (("return_to_use", False), ("out_of_use", True))
    ]
    return pl.concat(changes).sort("item", "at", "out", "record")


def _out_of_use(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    changes = standing(past.history)
    placed = with_van(subjects.select("tank", "van", "meter", "at"), past.register)
    taken = [_of(item, placed, changes) for item in ("tank", "van", "meter")]
    frame = pl.concat(taken, how="horizontal")
    items = [(pl.col(f"{item} out"), pl.col(f"{item} record")) for item in placed.columns[:3]]
    deciding = [pl.when(out).then(record) for out, record in items]
    return frame.select(
        pl.any_horizontal(out for out, _ in items).alias("out_of_use"),
        pl.coalesce(deciding).alias("evidence"),
    )


def _of(item: str, subjects: pl.DataFrame, changes: pl.DataFrame) -> pl.DataFrame:
    """Return whether one item of each subject is out of use, and by which record.

    Few items ever are: only subjects with one of these are looked up.
    """
    changes = changes.rename({"item": item})
    concerned = pl.col(item).is_in(changes[item].unique().implode()).fill_null(value=False)
    place = subjects.select(pl.when(concerned).then(concerned.cum_sum() - 1)).to_series()
    found = latest(subjects.filter(concerned), changes, by=item, take=["out", "record"])
    return found.select(pl.all().gather(place)).select(
        pl.col("out").fill_null(value=False).alias(f"{item} out"),
        pl.col("record").alias(f"{item} record"),
    )


USE_FACTS = (
    FactGroup(
        ("charge", "tank", "rinse", "reading", "resin_change", "van", "meter"),
        (
            Fact(
                "out_of_use",
                "yes/no",
                "the tank, its van or the meter was taken out of use and not yet returned",
                absent="no",
            ),
        ),
        _out_of_use,
        reads=("out_of_use", "return_to_use"),
    ),
)
