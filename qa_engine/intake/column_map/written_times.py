"""Dates and times as people write them, in the order that the map says."""

import polars as pl

from qa_engine.fields import CLOCK, DAY, OFFSET
from qa_engine.intake.batch import NOT_READ
from qa_engine.intake.column_map.column_map import DAY_FIRST, MONTH_FIRST
from qa_engine.intake.column_map.distinct import read_distinct

ISO = rf"^{DAY}(?:[Tt ]{CLOCK}{OFFSET}?)?$"
"""What a day, or an instant with or without offset, looks like in ISO 8601."""

_ISO_MOMENT = rf"^{DAY}[Tt ]{CLOCK}{OFFSET}?$"
_APART = (
    r"^(?<day>.*[^\sT,])[\sT,]+(?<clock>[0-9]{1,2}[:.h][0-9]{2}(?:[: ].*)?|[0-9]{1,2} ?[ap].*)$"
)
_WORD = r"\p{L}{3,10}\.?"
_TH = "(?:st|nd|rd|th)?"
_DATE = (
    r"^(?:\p{L}{2,10}\.?,? +)?"
    rf"(?<a>[0-9]{{1,4}}|{_WORD}){_TH}[./\- ]+(?<b>[0-9]{{1,2}}|{_WORD}){_TH}[./\-, ]+"
    r"(?<c>[0-9]{4}|[0-9]{1,2})(?:[T, ]+(?<clock>[0-9].*))?$"
)
_CLOCK = (
    r"^(?<hour>[0-9]{1,2})(?:[:.h](?<minute>[0-9]{2})(?::(?<second>[0-9]{2})(?:\.[0-9]+)?)?)? ?"
    r"(?<half>am|pm|a\.m\.|p\.m\.|uhr|h)?$"
)
_MONTHS = (
    "jan january januar jaenner jänner",
    "feb february februar",
    "mar march mär märz mrz maerz",
    "apr april",
    "may mai",
    "jun june juni",
    "jul july juli",
    "aug august",
    "sep sept september",
    "oct october okt oktober",
    "nov november",
    "dec december dez dezember",
)
MONTHS = {word: number for number, words in enumerate(_MONTHS, 1) for word in words.split()}
"""The number of each month by its English and German names, whole and short."""


def date_parts(cell: pl.Expr) -> pl.Expr:
    """Return a, b, c and clock of dates that are not written as ISO 8601 says; null for others."""
    return cell.str.to_lowercase().str.extract_groups(_DATE)


def moments_read(cell: pl.Expr, order: str, clock: str) -> pl.Expr:
    """Return cells of instants as our fields take them, others with ``NOT_READ`` before them.

    Args:
        cell: the cells.
        order: in which order dates in numbers are written; empty: none is taken.
        clock: the time of day where none is written, HH:MM; empty: such a cell stays a day.
    """
    day, time = _written(cell, order)
    time = time.fill_null(f"{clock}:00") if clock else time
    bare = cell.str.contains(f"^{DAY}$") & pl.lit(bool(clock))
    iso = pl.when(bare).then(cell + f"T{clock}:00").when(cell.str.contains(ISO)).then(cell)
    read = iso.fill_null(day + "T" + time)
    return read.fill_null(NOT_READ + cell)


def days_read(cell: pl.Expr, order: str) -> pl.Expr:
    """Return cells of days as YYYY-MM-DD, others with ``NOT_READ``; a time of day is left out."""
    day, _ = _written(cell, order)
    iso = pl.when(cell.str.contains(ISO)).then(cell.str.slice(0, len("2026-03-01")))
    return iso.fill_null(day).fill_null(NOT_READ + cell)


def joined(days: pl.Series, times: pl.Series, order: str, clock: str) -> pl.Series:
    """Return instants whose day and time of day stand in two columns.

    Args:
        days: the cells that say the day.
        times: the cells beside them that say the time of day.
        order: in which order dates in numbers are written.
        clock: the time of day where none is written, HH:MM; empty: there is none.
    """
    parts = pl.DataFrame(
        {
            "day": days,
            "time": times,
            "date": read_distinct(days, lambda cell: days_read(cell, order)),
            "clock": read_distinct(times, clock_read),
        }
    )
    usual = pl.lit(f"{clock}:00" if clock else None, pl.String)
    of_day = pl.when(pl.col("time").is_null()).then(usual).otherwise(pl.col("clock"))
    whole = pl.when(~pl.col("date").str.starts_with(NOT_READ)).then(pl.col("date") + "T" + of_day)
    wrong = NOT_READ + pl.concat_str("day", "time", separator=" ", ignore_nulls=True)
    read = pl.when(pl.col("day").is_not_null()).then(whole.fill_null(wrong))
    return parts.select(read.alias("read"))["read"]


def moments(cells: pl.Series, order: str, clock: str) -> pl.Series:
    """Return what ``moments_read`` does, by a quicker way where day and time of day come apart."""
    plain = cells.str.contains(_ISO_MOMENT).fill_null(False)
    if plain.all():
        return cells
    parts = cells.str.extract_groups(_APART).struct.unnest()
    apart = joined(parts["day"], parts["clock"], order, "")
    apart = apart.set(apart.str.starts_with(NOT_READ).fill_null(False), None)
    read = cells.zip_with(plain, apart)
    places = (read.is_null() & cells.is_not_null()).arg_true()
    if not len(places):
        return read
    rest = read_distinct(cells.gather(places), lambda cell: moments_read(cell, order, clock))
    return read.scatter(places, rest)


def clock_read(cell: pl.Expr) -> pl.Expr:
    """Return times of day as HH:MM:SS; null for what is none."""
    parts = cell.str.strip_chars().str.to_lowercase().str.extract_groups(_CLOCK)
    hour = parts.struct.field("hour").cast(pl.Int32)
    half, minute = parts.struct.field("half"), parts.struct.field("minute")
    halved = half.str.slice(0, 1).is_in(["a", "p"]).fill_null(False)
    afternoon = (half.str.slice(0, 1) == "p").fill_null(False)
    turned = hour % 12 + pl.when(afternoon).then(12).otherwise(0)
    whole = (
        pl.when(halved & hour.is_between(1, 12)).then(turned).when(~halved & (hour < 24)).then(hour)
    )
    told = pl.when(minute.is_not_null() | half.is_not_null()).then(whole)
    two = told.cast(pl.String).str.zfill(2)
    second = parts.struct.field("second").fill_null("00")
    right = (minute.fill_null("00") < "60") & (second < "60")
    read = pl.when(right).then(two + ":" + minute.fill_null("00") + ":" + second)
    iso = cell.str.extract(rf"^{DAY}[Tt ]({CLOCK})$")
    return read.fill_null(iso.str.slice(0, len("08:15:00")))


def _written(cell: pl.Expr, order: str) -> tuple[pl.Expr, pl.Expr]:
    """Return day and time of day of dates in numbers or with the name of a month."""
    parts = date_parts(cell)
    a, b, c = (parts.struct.field(name) for name in "abc")
    year_first = a.str.contains("^[0-9]{4}$")
    named = (_month(a).is_not_null(), _month(b).is_not_null())
    first, second, third = (part.cast(pl.Int32, strict=False) for part in (a, b, c))
    in_order = pl.lit(order) == DAY_FIRST, pl.lit(order) == MONTH_FIRST
    year = pl.when(year_first).then(first).otherwise(_whole_year(third))
    month = (
        pl.when(year_first)
        .then(pl.when(named[1]).then(_month(b)).otherwise(second))
        .when(named[0])
        .then(_month(a))
        .when(named[1])
        .then(_month(b))
        .when(in_order[0])
        .then(second)
        .when(in_order[1])
        .then(first)
    )
    day = (
        pl.when(year_first)
        .then(third)
        .when(named[0])
        .then(second)
        .when(named[1])
        .then(first)
        .when(in_order[0])
        .then(first)
        .when(in_order[1])
        .then(second)
    )
    date = pl.date(year, month.clip(1, 12), 1).dt.month_end().dt.day()
    right = month.is_between(1, 12) & day.is_between(1, date)
    text = pl.concat_str(
        [year.cast(pl.String), _two(month), _two(day)], separator="-", ignore_nulls=False
    )
    return pl.when(right).then(text), clock_read(parts.struct.field("clock"))


def _two(number: pl.Expr) -> pl.Expr:
    return number.cast(pl.String).str.zfill(2)


def _whole_year(written: pl.Expr) -> pl.Expr:
    return pl.when(written > 99).then(written).when(written > 9).then(written + 2000)


def _month(word: pl.Expr) -> pl.Expr:
    return word.str.strip_chars(".").replace_strict(
        list(MONTHS), list(MONTHS.values()), default=None, return_dtype=pl.Int32
    )


def moment_wanted(order: str) -> str:
    """Return what would have done, for a cell that is no date or time."""
    example = {DAY_FIRST: "31.03.2026 08:15", MONTH_FIRST: "03/31/2026 8:15 am"}
    return f"a date such as {example.get(order, '2026-03-31 08:15')}, and a time of day"


def day_wanted(order: str) -> str:
    """Return what would have done, for a cell that is no day."""
    example = {DAY_FIRST: "31.03.2026", MONTH_FIRST: "03/31/2026"}
    return f"a day such as {example.get(order, '2026-03-31')}"
