"""How sure a guarded verdict is, said with the finding; and what would settle an open one.

Every open verdict costs somebody a second look, so the message ends with the cheapest measurement
that could settle it: to fill in what was not logged, to read again, to check the meter, or to take
a better one.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from qa_engine.conditions import Guard, guards_in, probability_of
from qa_engine.facts.fact import UNCERTAINTY, Fact
from qa_engine.facts.past import Past
from qa_engine.facts.uncertainty_budget import Budget
from qa_engine.facts.uncertainty_facts import SHOWN
from qa_engine.facts.uncertainty_origin import origin_of
from qa_engine.facts.uncertainty_remedies import remedies_of
from qa_engine.probability import quantile
from qa_engine.rulesets import Rule
from qa_engine.wording import shown_number

SIMPLE = '{"acceptance":"simple"}'
"""What findings of rules with simple acceptance say of their decision."""

MOST_READINGS = 10
"""So many readings in a row are asked for at most; beyond, another meter is cheaper."""

LEAST_TO_TELL_APART = 1e-3
"""A value closer to its limit than this, of itself, is on the limit for any meter of the trade."""

DIGITS = 2
"""Digits to which uncertainties are told. Source: JCGM 100:2008, 7.2.6."""

PLACES = 6
"""Decimals to which probabilities are told."""

Budgets = Mapping[str, Budget]
"""What makes up the uncertainty of facts that a meter showed, by name."""

STATED = "as stated with the fact"


@dataclass(frozen=True)
class Asked:
    """What a guarded verdict is told with.

    Attributes:
        rule: the rule, with guarded acceptance.
        known: the facts of the subjects that findings are told of, row for row.
        subjects: those subjects.
        facts: the facts that they can have.
        past: the records and the register.
    """

    rule: Rule
    known: pl.DataFrame
    subjects: pl.DataFrame
    facts: Mapping[str, Fact]
    past: Past


def with_certainty(findings: pl.DataFrame, asked: Asked) -> pl.DataFrame:
    """Return findings of one guarded rule with their decision and, where open, why and what next.

    Args:
        findings: has ``outcome``, ``message``, ``missing``, ``correction``.
        asked: what is known of their subjects, row for row.
    """
    guards = guards_in(asked.rule.requires.verdict)
    likely = probability_of(asked.rule.requires.verdict).round(PLACES).alias("the probability")
    said = findings.select("outcome", "message", "missing")
    shown = SHOWN.get(asked.rule.subject, {})
    budgets = {
        name: shown[name].budget(asked.subjects, asked.past)
        for name in _measured(guards)
        if name in shown
    }
    table = pl.concat([asked.known, said], how="horizontal")
    table = table.with_columns(likely, *_origins(guards, budgets, table))
    told = table.with_columns(_told_of_open(table, budgets, guards, asked))
    decision = _decision(guards, asked).alias("decision")
    step = pl.col("what next")
    first = step.str.head(1).str.to_uppercase() + step.str.slice(1) + pl.lit(".")
    return findings.with_columns(
        told.select(
            decision, "message", pl.coalesce(first, findings["correction"]).alias("correction")
        )
    )


def _told_of_open(
    table: pl.DataFrame, budgets: Budgets, guards: tuple[Guard, ...], asked: Asked
) -> pl.DataFrame:
    """Return the message of each finding, and what to do next where it is undecided."""
    is_open = table["outcome"] == "undecided"
    remedies = [
        column.alias(f"{column.name} of {name}")
        for name, budget in budgets.items()
        for column in remedies_of(budget.filter(is_open))
    ]
    still_open = pl.concat([table.filter(is_open), pl.DataFrame(remedies)], how="horizontal")
    still_open = still_open.with_columns(_is_open(g).alias(_open(g, guards)) for g in guards)
    still_open = still_open.with_columns(_next(guards, asked).alias("what next"))
    told = still_open.select("what next", why=_message(guards, asked))
    place = pl.when(is_open).then(is_open.cast(pl.Int64).cum_sum() - 1)
    beside = told.select(pl.all().gather(pl.select(place).to_series()))
    return beside.select("what next", message=pl.coalesce("why", table["message"]))


def _origins(guards: tuple[Guard, ...], budgets: Budgets, table: pl.DataFrame) -> list[pl.Series]:
    """Return for each uncertain fact where its uncertainty comes from."""
    return [
        (
            origin_of(budgets[name])
            if name in budgets
            else pl.Series([STATED]).new_from_index(0, table.height)
        ).alias(f"origin of {name}")
        for name in _measured(guards)
    ]


def _measured(guards: tuple[Guard, ...]) -> list[str]:
    return list(dict.fromkeys(name for guard in guards for name in guard.measured))


def _decision(guards: tuple[Guard, ...], asked: Asked) -> pl.Expr:
    """Return the decision of each finding as JSON text."""
    uncertainties = [
        pl.struct(
            pl.col(UNCERTAINTY + name).alias("value"),
            pl.lit(asked.facts[name].unit, pl.String).alias("unit"),
            pl.col(f"origin of {name}").alias("from"),
        ).alias(name)
        for name in _measured(guards)
    ]
    return pl.struct(
        pl.lit(asked.rule.decision.acceptance).alias("acceptance"),
        pl.lit(asked.rule.decision.confidence).alias("confidence"),
        pl.struct(uncertainties).alias("uncertainty"),
        pl.col("the probability").alias("probability"),
        pl.col("what next").alias("next"),
    ).struct.json_encode()


def _message(guards: tuple[Guard, ...], asked: Asked) -> pl.Expr:
    """Return the message of an open verdict: what was too close to call, and what next."""
    close = pl.concat_str(
        pl.when(_open(guard, guards)).then(_too_close(guard)).otherwise(pl.lit(""))
        for guard in guards
    )
    wanted = f" %; {(asked.rule.decision.confidence or 0) * 100:g} % is asked for. To settle it, "
    likely = pl.lit(" It conforms with a probability of ") + _percent("the probability")
    why = pl.lit("Too close to call:") + close + likely + pl.lit(wanted)
    why += pl.col("what next") + pl.lit(".")
    alone = pl.when(pl.col("missing").list.len() == 0).then(pl.lit(""))
    before = alone.otherwise(pl.col("message") + pl.lit(" "))
    unknown = pl.concat_str(pl.col("message"), *(_unknown(name) for name in _measured(guards)))
    return pl.when(close != "").then(before + why).otherwise(unknown)


def _percent(name: str) -> pl.Expr:
    """Return a probability in percent, cut off rather than rounded up to what is asked for."""
    return ((pl.col(name) * 1e4).floor() / 100).cast(pl.String).str.strip_suffix(".0")


def _is_open(guard: Guard) -> pl.Expr:
    inputs = (guard.number, guard.spread, *(side.right for side in guard.sides))
    known = pl.all_horizontal(one.raw().is_not_null() for one in inputs)
    return known & guard.expression().is_null()


def _open(guard: Guard, guards: tuple[Guard, ...]) -> str:
    """Return the column that tells where a guard is open."""
    return f"open {guards.index(guard)}"


def _too_close(guard: Guard) -> pl.Expr:
    """Return what was too close to what."""
    unit = guard.number.unit.name if guard.number.unit else None
    return pl.concat_str(
        pl.lit(f" {_in_words(guard.measured[0])} is "),
        shown_number(guard.number.raw(), unit),
        pl.lit(", give or take "),
        shown_number(guard.spread.raw().round_sig_figs(DIGITS), unit),
        pl.lit(" (standard uncertainty), and the limit is "),
        _limits(guard, unit),
        pl.lit("."),
    )


def _limits(guard: Guard, unit: str | None) -> pl.Expr:
    first, *others = (shown_number(side.right.raw(), unit) for side in guard.sides)
    for other in others:
        first = first + pl.lit(" or ") + other
    if len(guard.measured) > 1:
        first += pl.lit(f", {_in_words(guard.measured[1])}")
    return first


def _in_words(fact: str) -> str:
    return fact.replace("_", " ").replace("tds", "TDS")


def _unknown(name: str) -> pl.Expr:
    """Return why an uncertainty is not known, an empty text where it is or nothing was read."""
    said = pl.lit(f" How sure {_in_words(name)} is cannot be told: ")
    unknown = pl.col(UNCERTAINTY + name).is_null() & pl.col(name).is_not_null()
    text = said + pl.col(f"origin of {name}") + pl.lit(".")
    return pl.when(unknown).then(text).otherwise(pl.lit(""))


def _next(guards: tuple[Guard, ...], asked: Asked) -> pl.Expr:
    """Return the cheapest measurement that could settle what is open, null where nothing is."""
    steps = (pl.when(_open(guard, guards)).then(_settling(guard, asked)) for guard in guards)
    return pl.coalesce(*steps)


def _settling(guard: Guard, asked: Asked) -> pl.Expr:
    fact = guard.measured[0]
    if len(guard.measured) > 1 or fact not in SHOWN.get(asked.rule.subject, {}):
        return pl.lit("read again, and with a meter that is surer")
    return _measurement(guard, fact, asked.facts[fact].unit)


def _measurement(guard: Guard, fact: str, unit: str | None) -> pl.Expr:
    """Return the cheapest measurement, from what the uncertainty would be after each."""
    own = pl.col(fact)
    # In the unit of the fact, whatever unit the limit is compared in.
    needed = _needed(guard) * (pl.col(UNCERTAINTY + fact) / guard.spread.raw())
    digits, steady, logged, checked = (
        pl.col(f"{part} of {fact}") for part in ("digits", "steady", "logged", "checked")
    )
    to_log, once_logged = pl.col(f"to log of {fact}"), pl.col(f"logged steady of {fact}")
    mean = shown_number(own, unit)
    better = shown_number((needed * math.sqrt(3)).round_sig_figs(DIGITS), unit)
    chances = (
        (logged <= needed, to_log),
        _repeated(digits, steady, needed, mean),
        _repeated(digits, once_logged, needed, mean, before=to_log + pl.lit(", then ")),
        (checked <= needed, pl.lit("hold the meter against a standard, adjust it and read again")),
        (
            needed > own.abs() * LEAST_TO_TELL_APART,
            pl.lit("read with a meter good to ") + better,
        ),
    )
    on_the_limit = pl.lit("take it as not met: it lies on the limit, and no meter will tell")
    return pl.coalesce(*(pl.when(serves).then(step) for serves, step in chances), on_the_limit)


def _repeated(
    digits: pl.Expr, steady: pl.Expr, needed: pl.Expr, mean: pl.Expr, before: pl.Expr | None = None
) -> tuple[pl.Expr, pl.Expr]:
    """Return whether a few readings would do, and the words to ask for them."""
    readings = (digits * digits / (needed * needed - steady * steady)).ceil()
    conforms = pl.when(pl.col("the probability") >= 0.5).then(pl.lit("conforms"))
    text = pl.concat_str(
        pl.lit("") if before is None else before,
        pl.lit("take "),
        readings.cast(pl.Int64, strict=False).cast(pl.String),
        pl.lit(" readings in all: if their mean is "),
        mean,
        pl.lit(", it "),
        conforms.otherwise(pl.lit("does not conform")),
    )
    return (steady < needed) & readings.is_between(2, MOST_READINGS), text


def _needed(guard: Guard) -> pl.Expr:
    """Return the standard uncertainty that would just do, in the unit of the comparison."""
    number, spread = guard.number.raw(), guard.spread.raw()
    limits = [side.right.raw() for side in guard.sides]
    apart = pl.min_horizontal((number - limit).abs() for limit in limits)
    far, close = quantile(guard.confidence), quantile(0.5 + guard.confidence / 2)
    if guard.floor is None:
        return apart / far
    # Near zero more is asked for; how much more depends on the uncertainty that is sought.
    crowded = pl.min_horizontal(*limits) < spread * guard.near
    return apart / pl.when(crowded).then(close).otherwise(far)
