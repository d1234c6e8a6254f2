"""Judging anew what a change of records can reach, and setting it in place of what was found."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import polars as pl

from qa_engine.blocks import batches_of
from qa_engine.book.lookout.kept import Frames, Kept, latest_of
from qa_engine.book.lookout.reach import (
    Reach,
    around_others,
    around_tanks,
    reads_of,
    wanted_tanks,
)
from qa_engine.facts.past import Past
from qa_engine.history import History
from qa_engine.inspection import Course, Part
from qa_engine.judging import Requirement
from qa_engine.subjects import is_judged_in_blocks, item_of

CHANGED = "changed from"
JUDGED = ("rule_set", "rule", "subject_kind", "item")
"""By what a row of findings, coverage or what falls due is set in place of another."""


@dataclass(frozen=True)
class Anew:
    """What was judged anew.

    Attributes:
        part: what that came to.
        judged: the rules and items, a row of ``JUDGED`` each, with ``CHANGED``, the instant from
            which on verdicts on them may be others.
    """

    part: Part
    judged: pl.DataFrame

    def in_place_in(self, part: Part) -> Part:
        """Return what was found before with this in the place of what it is about."""
        return replace(
            part,
            findings=self._over_findings(part.findings),
            coverage=self._over(part.coverage, self.part.coverage),
            due=self._over(part.due, self.part.due),
        )

    def _over_findings(self, before: pl.DataFrame) -> pl.DataFrame:
        """Return the findings that were over before anything changed, and those told anew."""
        told = self.part.findings
        from_then = before.join(self.judged, on=JUDGED, how="left", nulls_equal=True)[CHANGED]
        over = (pl.col("until") < from_then) & (pl.col("closed_at") < from_then)
        stays = over & ~pl.col("finding").is_in(told["finding"].implode())
        untouched = pl.lit(from_then).is_null()
        return pl.concat([before.filter(untouched | stays.fill_null(value=False)), told])

    def _over(self, before: pl.DataFrame, now: pl.DataFrame) -> pl.DataFrame:
        others = before.join(self.judged, on=JUDGED, how="anti", nulls_equal=True)
        return pl.concat([others, now])


def joined(parts: Sequence[Part]) -> Part:
    """Return what several parts found as one."""
    first, *_ = parts
    tables = ("coverage", "findings", "due", "all_told")
    return replace(first, **{name: pl.concat([getattr(p, name) for p in parts]) for name in tables})


def judged_anew(course: Course, kept: Kept, reach: Reach) -> Anew:
    """Judge what a change can have reached.

    Args:
        course: the rules and plugins that work, with coverage by item.
        kept: the records, with the change in them.
        reach: what the change reaches.
    """
    parts, judged = [course.nothing()], []
    for batch, past in _batches(course, kept, reach):
        kind = batch[0].subject
        only = reach.items[item_of(kind)]
        since = reach.since - (batch[0].within or timedelta())
        parts.append(course.part(batch, past, only, since))
        judged += [(one.rule_set, one.rule, kind, item, since) for one in batch for item in only]
    schema = {**dict.fromkeys(JUDGED, pl.String()), CHANGED: pl.Datetime("us", "UTC")}
    rows = pl.DataFrame(judged, schema=schema, orient="row")
    return Anew(joined(parts), rows.group_by(JUDGED).agg(pl.col(CHANGED).min()))


def _batches(course: Course, kept: Kept, reach: Reach) -> Iterator[tuple[list[Requirement], Past]]:
    """Yield what is to be judged together with the records to judge it on."""
    register, as_of = course.assignment.register, course.assignment.as_of
    tanks = reach.items["tank"]
    mine = [one for one in course.requirements if is_judged_in_blocks(one.subject)]
    if tanks:
        frames = until(around_tanks(kept, tanks, register), as_of)
        past = course.past(History(frames, wanted_tanks(register, tanks)))
        for batch in _touched(mine, reach, frames, course):
            yield batch, past
    others = [one for one in course.requirements if item_of(one.subject) not in ("tank", "base")]
    frames = until(around_others(kept, reach.items, register), as_of)
    past = course.past(History(frames, register))
    for batch in _touched(others, reach, frames, course):
        yield batch, past
    bases = [one for one in course.requirements if item_of(one.subject) == "base"]
    for batch in _touched(bases, reach, frames, course):
        frames = until(_for_bases(batch, kept, course), as_of)
        yield batch, course.past(History(frames, register))


def _touched(
    requirements: list[Requirement], reach: Reach, frames: Frames, course: Course
) -> list[list[Requirement]]:
    """Return what is touched, in batches; a rule in all its wordings, if in one."""
    touched = {
        (one.rule_set, one.rule, one.subject)
        for one in requirements
        if reach.touches(one, frames, course.catalogue)
    }
    return batches_of(
        one for one in requirements if (one.rule_set, one.rule, one.subject) in touched
    )


def _for_bases(batch: list[Requirement], kept: Kept, course: Course) -> Frames:
    """Return the records that verdicts on bases may rest on: those of all vans, where need be."""
    reads = [reads_of(one, course.catalogue) for one in batch]
    if any(kinds is None for kinds in reads):
        return kept
    wanted = {batch[0].subject, *(kind for kinds in reads for kind in kinds or ())}
    return {kind: kept[kind] for kind in kept if kind in wanted}


def until(frames: Frames, as_of: datetime) -> dict[str, pl.DataFrame]:
    """Return the records up to an instant."""
    return {
        kind: frame if latest_of(frame) <= as_of else frame.filter(pl.col("at") <= as_of)
        for kind, frame in frames.items()
    }
