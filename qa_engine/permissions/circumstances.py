"""What an inspection knew beside the permissions, and the state of a permission in it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property

import polars as pl

from qa_engine.permissions.permission import Permission, in_force, is_void, span, starts
from qa_engine.register import Register, day_start
from qa_engine.rulesets import Edition, Rule

IN_FORCE, LAPSED, NOT_YET, COVERS_NOTHING = "in force", "lapsed", "not yet", "covers nothing"

_NEVER = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True)
class Circumstances:
    """What an inspection knew beside the permissions.

    Attributes:
        editions: the rule sets that judged.
        register: the operator's register.
        as_of: the instant of the inspection.
        by_day: whether things were judged on each day, not only as of the instant.
    """

    editions: Sequence[Edition]
    register: Register
    as_of: datetime
    by_day: bool

    def rules(self, permission: Permission) -> list[Rule]:
        """Return every wording of the rules that a permission is about."""
        return [
            rule
            for edition in self.editions
            if edition.rule_set == permission.rule_set
            for rule in edition.rules
            if permission.concerns(rule.rule_set, rule.rule)
        ]

    def judging(self, permission: Permission) -> list[Rule]:
        """Return those of its wordings that judge at some time that the permission covers."""
        first, after = span(permission, self.register.zone)
        names = {name for name, (begins, ends) in self._times if begins < after and first < ends}
        return [r for r in self.rules(permission) if (r.rule_set, r.edition) in names]

    @cached_property
    def _times(self) -> list[tuple[tuple[str, str], tuple[datetime, datetime]]]:
        """Return from when and until when each edition judges."""
        zone, times = self.register.zone, []
        for one in self.editions:
            until = one.in_force_until
            ends = day_start(until + timedelta(days=1), zone) if until else _NEVER
            times.append(((one.rule_set, one.edition), (day_start(one.in_force_from, zone), ends)))
        return times

    def takes_none(self, permission: Permission) -> bool:
        """Tell whether none of the rules that a permission is about takes one in its time."""
        return all(rule.permission == "never" for rule in self.judging(permission))

    def state(self, permission: Permission) -> str:
        """Return the state of a permission as of the inspection."""
        zone = self.register.zone
        if is_void(permission, zone) or self.takes_none(permission):
            return COVERS_NOTHING
        now = pl.Series([self.as_of], dtype=pl.Datetime("us", "UTC"))
        if in_force(permission, now, zone).item():
            return IN_FORCE
        known = starts(permission.approved_on, zone) <= self.as_of
        return LAPSED if known and span(permission, zone)[1] <= self.as_of else NOT_YET
