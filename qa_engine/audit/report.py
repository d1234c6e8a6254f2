"""The audit report: what was judged, found, permitted, corrected, and whether the book is whole."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import EntryPoint

import polars as pl

from qa_engine.audit.corrections import Span, corrections_in
from qa_engine.audit.judgement import Judgement, judgement_of
from qa_engine.audit.late import LateEntries, late_entries
from qa_engine.audit.remarks import Remark, remarks_in
from qa_engine.audit.scope import Scope, check, choices
from qa_engine.audit.wholeness import Wholeness, wholeness_of
from qa_engine.book import Book
from qa_engine.book.house import permissions_in, rules_in
from qa_engine.errors import AuditError
from qa_engine.inspection import Assignment, RuleSources
from qa_engine.permissions import Account, span
from qa_engine.plugin_host import Plugin, PluginHost
from qa_engine.register import Register
from qa_engine.rule_offers import offered
from qa_engine.rulesets import Edition
from qa_engine.subjects import Period

BY_RULE = ("rule_set", "rule", "edition", "grading", "outcome")


@dataclass(frozen=True)
class Asked:
    """What an audit report is asked about.

    Attributes:
        scope: the places and rule sets.
        period: whole days, the last included, in the operator's zone.
        as_of: the instant of the report: only what the book knew then counts, so that the same
            report can be made again whenever it is wanted.
    """

    scope: Scope
    period: Period
    as_of: datetime


@dataclass(frozen=True)
class AuditReport:
    """What an auditor files about a scope and a period.

    Attributes:
        asked: what it is about.
        register: the register by which it was judged.
        judgement: what the rules say.
        by_rule: how many findings each rule gave, with ``BY_RULE``, ``findings``, ``stand`` and
            ``permitted``.
        permissions: those that touch the scope and period; uses are of all history.
        entries: how the records came in.
        corrections: as ``qa_engine.audit.corrections.SCHEMA``.
        remarks: what auditors entered, by then, about anything.
        book: whether the book is whole.
    """

    asked: Asked
    register: Register
    judgement: Judgement
    by_rule: pl.DataFrame
    permissions: tuple[Account, ...]
    entries: LateEntries
    corrections: pl.DataFrame
    remarks: tuple[Remark, ...]
    book: Wholeness

    @property
    def editions(self) -> tuple[Edition, ...]:
        """Return the editions in the scope that were in force on some day of the period."""
        period, named = self.asked.period, self.asked.scope.rule_sets
        return tuple(
            one
            for one in self.judgement.inspection.editions
            if one.in_force_from <= period.last
            and (one.in_force_until is None or one.in_force_until >= period.first)
            and (not named or one.rule_set in named)
        )

    @property
    def plugins(self) -> tuple[Plugin, ...]:
        """Return every plugin and what became of it."""
        return self.judgement.inspection.plugins


def audit_of(
    book: Book,
    asked: Asked,
    entries: Iterable[EntryPoint],
    rules: Callable[[PluginHost], RuleSources] | None = None,
) -> AuditReport:
    """Return the audit report of a book.

    Args:
        book: the record book; it is verified, and nothing in it is changed.
        asked: scope, period and instant.
        entries: the plugins to load.
        rules: gives the rule files; by default those adopted in the book, or what plugins offer.

    Raises:
        AuditError: the scope names what is not there, or the period cannot be looked at.
        RuleSetError: a rule file cannot be used; every problem of all files is in it.
    """
    as_of = asked.as_of
    frames, register = book.frames(known_at=as_of, entered=True), book.register(as_of)
    _check_period(asked, register)
    permissions = permissions_in(book, as_of)
    task = Assignment(frames, register, as_of, asked.period, permissions=permissions)
    judgement = judgement_of(task, asked.scope, entries, rules or rules_known(book, as_of))
    sets = [one.rule_set for one in judgement.inspection.editions]
    check(asked.scope, choices(register, frames, sets))
    first, after = asked.period.instants(register.zone)
    seen = {kind: frame.filter(pl.col("at") <= as_of) for kind, frame in frames.items()}
    return AuditReport(
        asked,
        register,
        judgement,
        _by_rule(judgement.findings),
        tuple(a for a in judgement.inspection.permissions if _touches(a, asked, register)),
        late_entries(seen, asked.scope, register, (first, after)),
        corrections_in(book, Span(asked.scope, register, first, after), as_of),
        remarks_in(book, as_of),
        wholeness_of(book, as_of),
    )


def rules_known(book: Book, as_of: datetime) -> Callable[[PluginHost], RuleSources]:
    """Return what gives the rule files that a book knew, or else what plugins offer."""
    adopted = rules_in(book, as_of)
    return lambda host: adopted or offered(host)


def _check_period(asked: Asked, register: Register) -> None:
    period, today = asked.period, asked.as_of.astimezone(register.zone).date()
    if period.last < period.first:
        raise AuditError(f"period: it ends ({period.last}) before it begins ({period.first})")
    if period.first > today:
        raise AuditError(
            f"period: it begins on {period.first}, after the day of the report, {today}"
        )


def _by_rule(findings: pl.DataFrame) -> pl.DataFrame:
    permitted = pl.col("permission").is_not_null()
    return (
        findings.group_by(BY_RULE, maintain_order=True)  # findings come worst first
        .agg(
            pl.len().cast(pl.Int64).alias("findings"),
            pl.col("stands").sum().cast(pl.Int64).alias("stand"),
            permitted.sum().cast(pl.Int64).alias("permitted"),
        )
        .select(*BY_RULE, "findings", "stand", "permitted")
    )


def _touches(account: Account, asked: Asked, register: Register) -> bool:
    """Tell whether a permission is about anything in a scope, and of a time in the period."""
    one, scope = account.permission, asked.scope
    if scope.rule_sets and one.rule_set not in scope.rule_sets:
        return False
    begins, ends = span(one, register.zone)
    first, after = asked.period.instants(register.zone)
    if begins >= after or (begins < first and ends <= first):
        return False
    if one.van is None and one.tank is None:
        return True
    where = pl.DataFrame(
        {"van": [one.van], "tank": [one.tank], "at": [min(max(begins, first), after)]},
        schema={"van": pl.String, "tank": pl.String, "at": pl.Datetime("us", "UTC")},
    )
    return bool(scope.holds(where, register)[0])
