"""How values are shown to people: the same text whether one subject is told or a million."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime

import polars as pl

from qa_engine.facts.fact import Fact
from qa_engine.rulesets import cut

NOT_RECORDED = "not recorded"
SHOWN_RECORDS = 5
"""How many record ids a message lists before it counts the rest."""

WITHOUT_UNIT = (None, "1", "count")
WHOLE_FROM = 1000
"""From this size on numbers are shown without decimals; below, with four digits that count."""

DAYS_WHOLE_FROM = 10
"""From this many days on, hours do not matter to a reader."""


def shown_number(column: pl.Expr, unit: str | None) -> pl.Expr:
    """Return numbers as text with their unit; rounded for reading, never for judging."""
    whole_from = DAYS_WHOLE_FROM if unit == "d" else WHOLE_FROM
    rounded = (
        pl.when(column.abs() >= whole_from)
        .then(column.round(0))
        .otherwise(column.round_sig_figs(3 if unit == "d" else 4))
    )
    text = (rounded + 0.0).cast(pl.String).str.strip_suffix(".0")
    if unit == "d":
        return text + pl.when(text == "1").then(pl.lit(" day")).otherwise(pl.lit(" days"))
    return text if unit in WITHOUT_UNIT else text + pl.lit(f" {unit}")


def shown_days_to(column: pl.Expr) -> pl.Expr:
    """Return days left to a date as text; negative ones are days past it."""
    days = shown_number(column.abs(), "d")
    return (
        pl.when(column < 0)
        .then(days + pl.lit(" ago"))
        .when(column == 0)
        .then(pl.lit("today"))
        .otherwise(pl.lit("in ") + days)
    )


def shown_records(column: pl.Expr) -> pl.Expr:
    """Return lists of record ids as text, the first few by name and the rest by number."""
    listed = column.list.head(SHOWN_RECORDS).list.join(", ")
    more = column.list.len().cast(pl.Int64) - SHOWN_RECORDS
    return (
        pl.when(column.list.len() == 0)
        .then(pl.lit("none on record"))
        .when(more > 0)
        .then(listed + pl.lit(" and ") + more.cast(pl.String) + pl.lit(" more"))
        .otherwise(listed)
    )


def shown(fact: Fact) -> pl.Expr:
    """Return the values of a fact as text; what is missing is said to be not recorded."""
    column = pl.col(fact.name)
    match fact.type:
        case "number" if fact.per_day < 0:
            text = shown_days_to(column)
        case "number":
            text = shown_number(column, fact.unit)
        case "yes/no":
            text = pl.when(column).then(pl.lit("yes")).when(~column).then(pl.lit("no"))
        case "records":
            text = shown_records(column)
        case _:
            text = column
    return text.fill_null(NOT_RECORDED)


def message(says: str, values: Mapping[str, pl.Expr]) -> pl.Expr:
    """Return a rule's message with its placeholders filled in.

    Placeholders are looked up by name among texts that are ready; nothing in a message is
    evaluated, so a message cannot change a verdict or reach anything else.
    """
    parts: list[pl.Expr] = []
    for literal, name in cut(says):
        if literal:
            parts.append(pl.lit(literal))
        if name is not None:
            parts.append(values.get(name, pl.lit(NOT_RECORDED)).fill_null(NOT_RECORDED))
    return pl.concat_str(parts or [pl.lit("")])


def measured(facts: Mapping[str, Fact]) -> pl.Expr:
    """Return the values of facts as JSON text: ``{name: {"value": ..., "unit": ...}}``."""
    if not facts:
        return pl.lit("{}")
    return pl.struct(
        pl.struct(value=pl.col(name), unit=pl.lit(fact.unit, pl.String)).alias(name)
        for name, fact in facts.items()
    ).struct.json_encode()


def limits_measured(limits: Mapping[str, tuple[pl.Expr, str]]) -> pl.Expr:
    """Return limits as JSON text; each with the expression of its value and its unit."""
    if not limits:
        return pl.lit("{}")
    return pl.struct(
        pl.struct(value=value, unit=pl.lit(unit)).alias(name)
        for name, (value, unit) in limits.items()
    ).struct.json_encode()


def plain_json(value: object) -> str:
    """Return a value as JSON text, always the same text for the same value."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def rfc3339(instant: datetime) -> str:
    """Return an instant in UTC as RFC 3339 text, without needless zeros."""
    return instant.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z"
