"""The subjects that rules judge: records at their own instant, things as of an instant or by day.

A frame of subjects has the columns ``subject``, ``at``, ``until``, ``record``, ``item``, ``van``,
``tank``, ``meter``, ``base``, ``source`` (null where the subject has none), for records their own
fields, and ``charge_number``, by which runs are cut at a resin change (0 where there is none). Rows
are sorted by (item, at, record).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from qa_engine.charges import charge_at
from qa_engine.facts.charge_facts import charge_subjects
from qa_engine.facts.days import local_day
from qa_engine.facts.fact import EVENT_SUBJECTS, STATE_SUBJECTS
from qa_engine.facts.past import Past
from qa_engine.history import History, logged_van, valid_rows
from qa_engine.records import KINDS
from qa_engine.register import TABLES, day_start

INSTANT = pl.Datetime("us", "UTC")
PLACES = ("van", "tank", "meter", "base", "source")
BEFORE_NEXT = timedelta(microseconds=1)


@dataclass(frozen=True)
class Period:
    """Whole days, the last included, in the operator's time zone."""

    first: date
    last: date

    def instants(self, zone: ZoneInfo) -> tuple[datetime, datetime]:
        """Return the first instant of the period and the first one after it, in UTC."""
        return day_start(self.first, zone), day_start(self.last + timedelta(days=1), zone)


def item_of(subject: str) -> str:
    """Return the column that names the item a kind of subject belongs to."""
    return STATE_SUBJECTS[subject] if subject in STATE_SUBJECTS else KINDS[subject].item


def is_judged_in_blocks(subject: str) -> bool:
    """Tell whether a kind of subject belongs to tanks, and so to one block of them."""
    return item_of(subject) == "tank"


def subjects_of(subject: str, past: Past, by_day: bool) -> pl.DataFrame:
    """Return the subjects of a kind, ready to be asked for facts.

    Args:
        subject: the kind of subject.
        past: the records they are judged on.
        by_day: for things, whether they are judged at the end of each day since the first record
            rather than once, as of the inspection's instant.
    """
    if subject in EVENT_SUBJECTS:
        return _events(subject, past)
    if subject == "charge" and not by_day:
        return _completed(charge_subjects(past), past)
    things = _things(subject, past.history)
    instants = _day_ends(past) if by_day else [past.as_of]
    return _completed(_at_each(things, instants, subject, past), past)


def _events(kind: str, past: Past) -> pl.DataFrame:
    item = KINDS[kind].item
    records = past.history.of(kind, *KINDS[kind].fields)
    frame = records.with_columns(subject=pl.col("record"), until=pl.col("at"), item=pl.col(item))
    return _completed(frame, past)


def _completed(frame: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Return subjects with every place they have, and the number of their charge."""
    lacking = [name for name in PLACES if name not in frame.columns]
    frame = frame.with_columns(pl.lit(None, pl.String).alias(name) for name in lacking)
    if frame["tank"].null_count() == frame.height:
        return frame.with_columns(pl.lit(0, pl.Int64).alias("charge_number"))
    registered = valid_rows(frame.select("tank", "at"), past.register, "tanks", ["van"])["van"]
    number = charge_at(frame.select("tank", "at"), past.charges)["number"]
    return frame.with_columns(
        pl.col("van").fill_null(registered),
        number.cast(pl.Int64).fill_null(0).alias("charge_number"),
    )


def _things(subject: str, history: History) -> pl.Series:
    """Return the ids of all things of a kind that the register or the records name."""
    item = item_of(subject)
    named = [frame[item] for frame in history.frames.values() if item in frame.columns]
    named += [
        table[item] for name in TABLES if item in (table := history.register.table(name)).columns
    ]
    everything = pl.concat(named) if named else pl.Series(item, [], pl.String)
    return everything.unique().drop_nulls().sort().alias(item)


def _day_ends(past: Past) -> list[datetime]:
    """Return the last instant of each day since the first record, none after the inspection's."""
    firsts = [frame["at"].min() for frame in past.history.frames.values() if frame.height]
    if not firsts:
        return []
    zone = past.register.zone
    day = min(firsts).astimezone(zone).date()  # type: ignore[type-var, union-attr]
    ends = []
    while (end := day_start(day + timedelta(days=1), zone) - BEFORE_NEXT) < past.as_of:
        ends.append(end)
        day += timedelta(days=1)
    return [*ends, past.as_of]


def _at_each(
    things: pl.Series, instants: Sequence[datetime], subject: str, past: Past
) -> pl.DataFrame:
    item = things.name
    frame = (
        things.to_frame()
        .join(pl.DataFrame({"at": pl.Series(instants, dtype=INSTANT)}), how="cross")
        .with_columns(
            subject=pl.col(item),
            until=pl.col("at"),
            item=pl.col(item),
            record=pl.lit(None, pl.String),
        )
    )
    frame = _known_by_then(frame, item, subject, past)
    if item != "tank":
        return frame
    return frame.with_columns(logged_van(frame, past.history).alias("van"))


def _known_by_then(frame: pl.DataFrame, item: str, subject: str, past: Past) -> pl.DataFrame:
    """Keep what the register or a record had named by then; a charge counts once it has begun.

    A tank that the register puts in service on a later day is not there before, whatever was
    logged on it: records are judged by themselves.
    """
    if subject == "charge":
        charge = charge_at(frame.select("tank", "at"), past.charges)
        return frame.with_columns(subject=charge["charge"]).filter(pl.col("subject").is_not_null())
    table = next(name for name in TABLES if item in TABLES[name].fields)
    starts = [past.register.table(table).select(item, at="holds_from")]
    starts += [f.select(item, "at") for f in past.history.frames.values() if item in f.columns]
    first = pl.concat(starts).drop_nulls(item).group_by(item).agg(pl.col("at").min())
    begun = frame.select(item).join(first, on=item, how="left", maintain_order="left")["at"]
    known = frame.filter(begun <= frame["at"])
    return _in_service(known, past) if subject == "tank" else known


def _in_service(frame: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Keep tanks from the day on that the register puts them in service, if it states one.

    It is the day in the row that held then, else the earliest one that any row states.
    """
    stated = past.register.table("tanks").group_by("tank").agg(pl.col("in_service_on").min())
    earliest = frame.select("tank").join(stated, on="tank", how="left", maintain_order="left")
    held = valid_rows(frame, past.register, "tanks", ["in_service_on"])["in_service_on"]
    starts = held.fill_null(earliest["in_service_on"])
    today = local_day(frame["at"], past.register.zone)
    return frame.filter((starts <= today).fill_null(value=True))
