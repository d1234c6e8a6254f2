"""Findings: runs of subjects that do not conform or could not be decided, as one frame."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from qa_engine.asking import known_of
from qa_engine.certainty import SIMPLE, Asked, with_certainty
from qa_engine.closing import closed_at, open_since
from qa_engine.conformity import DOES_NOT_CONFORM
from qa_engine.doubt import records_in_doubt
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import UNCERTAINTY, Fact
from qa_engine.facts.past import Past
from qa_engine.judging import InForce, Judged, Requirement
from qa_engine.permissions import Codes
from qa_engine.rulesets import Rule
from qa_engine.runs import NOWHERE, Places, Runs, runs_of
from qa_engine.subjects import item_of
from qa_engine.wording import limits_measured, measured, message, shown, shown_number, shown_records

INSTANT = pl.Datetime("us", "UTC")
RECORDS = pl.List(pl.String)

SCHEMA: dict[str, pl.DataType] = {
    "finding": pl.String(),
    "rule_set": pl.String(),
    "rule": pl.String(),
    "edition": pl.String(),
    "grading": pl.String(),
    "outcome": pl.String(),
    "subject_kind": pl.String(),
    "subject": pl.String(),
    "item": pl.String(),
    "van": pl.String(),
    "tank": pl.String(),
    "since": INSTANT,
    "until": INSTANT,
    "measured": pl.String(),
    "limits": pl.String(),
    "missing": RECORDS,
    "evidence": RECORDS,
    "affected": RECORDS,
    "message": pl.String(),
    "correction": pl.String(),
    "caution": pl.String(),
    "permission": pl.String(),
    "decision": pl.String(),
    "stands": pl.Boolean(),
    "closed_at": INSTANT,
    "closed_by": RECORDS,
}
"""The columns of a frame of findings; ``measured``, ``limits``, ``decision`` hold JSON text."""

GRADE_KNOWN = "grade_known"
"""The fact that tells whether a model speaks for the grade; null where a lost one may have."""

NOT_KNOWN = " not known."
"""How the message of an undecided finding ends that says no more than which facts are missing."""

GRADINGS = ("major", "minor", "advice")
"""From what must stop to what is worth knowing."""

ORDER = ("grading", "van", "tank", "since", "rule", "finding")


@dataclass(frozen=True)
class Telling:
    """What findings are told with beyond what was judged.

    Attributes:
        past: the records the subjects were judged on.
        catalogue: the facts that messages may name.
        troubles: why facts are missing, by name of the fact: the plugin that failed.
    """

    past: Past
    catalogue: Catalogue
    troubles: Mapping[str, str]


def findings_of(judged: Judged, telling: Telling, since: datetime | None = None) -> pl.DataFrame:
    """Return the findings among judged subjects, in no particular order.

    Args:
        judged: the subjects and their outcomes.
        telling: what findings are told with.
        since: leave out those that ended and were closed before this instant; they may be there
            where only the work of their rule could have closed them.
    """
    if judged.subjects.is_empty():
        return pl.DataFrame(schema=SCHEMA)
    item = _items(judged)
    frames = []
    for place, edition, runs, all_of_it in _worded(judged, item):
        mine = all_of_it
        if since is not None:
            mine = mine[open_since(judged, place, item, runs.last[mine], since)]
        if not len(mine):
            continue
        last = runs.last[mine]
        told = _told(judged, judged.requirements[place], edition, runs, mine, telling)
        told = _certain(told, judged, edition.rule, last, telling)
        told = told.with_columns(closed_at(judged, place, item, last))
        stands = _stands(judged, edition.rule, runs, mine, told["closed_at"])
        told = told.with_columns(stands.alias("stands"))
        frames.append(_permitted(told, judged, judged.permitted[place], last))
    return pl.concat(frames) if frames else pl.DataFrame(schema=SCHEMA)


def last_members(judged: Judged) -> pl.DataFrame:
    """Return where the last member of each finding stands, row for row as ``findings_of``.

    ``requirement`` is the place of its requirement, ``place`` that of the member among the
    subjects.
    """
    frames = [pl.DataFrame(schema={"requirement": pl.Int64, "place": pl.Int64})]
    if judged.subjects.height:
        for number, _, runs, mine in _worded(judged, _items(judged)):
            places = pl.DataFrame({"place": runs.last[mine]})
            frames.append(places.select(requirement=pl.lit(number, pl.Int64), place="place"))
    return pl.concat(frames)


def _items(judged: Judged) -> Places:
    return judged.subjects["item"].rle_id().to_numpy().astype(np.int64)


def _worded(judged: Judged, item: Places) -> Iterator[tuple[int, InForce, Runs, Places]]:
    """Yield the findings of each requirement, edition by edition: the runs, and which are its."""
    charge = judged.subjects["charge_number"].to_numpy()
    for place, requirement in enumerate(judged.requirements):
        wording = judged.wording[place]
        runs = runs_of(judged.outcomes[place], item, charge, wording, judged.permitted[place])
        for version, edition in enumerate(requirement.editions):
            mine = np.flatnonzero(wording[runs.last] == version)
            if len(mine):
                yield place, edition, runs, mine


def _certain(
    told: pl.DataFrame, judged: Judged, rule: Rule, last: np.ndarray, telling: Telling
) -> pl.DataFrame:
    """Return findings with how sure they are, if their rule allows for uncertainty."""
    if rule.decision.confidence is None:
        return told
    facts = telling.catalogue.facts_of(rule.subject)
    asked = Asked(rule, judged.known.frame[last], judged.subjects[last], facts, telling.past)
    return with_certainty(told, asked)


def _permitted(
    told: pl.DataFrame, judged: Judged, permitted: Codes | None, last: np.ndarray
) -> pl.DataFrame:
    """Return findings with the permission that each is under."""
    if permitted is None:
        return told
    ids = pl.Series([None, *(one.permission for one in judged.permissions)], dtype=pl.String)
    return told.with_columns(permission=ids[permitted[last].astype(np.int64)])


def in_order(findings: pl.DataFrame) -> pl.DataFrame:
    """Return findings worst first, then by van, tank, time, rule and finding; nulls last."""
    grade = pl.col("grading").replace_strict(
        GRADINGS, list(range(len(GRADINGS))), return_dtype=pl.Int8
    )
    return findings.sort(grade, *ORDER[1:], "subject", "item", nulls_last=True)


def _told(
    judged: Judged,
    requirement: Requirement,
    edition: InForce,
    runs: Runs,
    mine: np.ndarray,
    telling: Telling,
) -> pl.DataFrame:
    """Return the findings of one rule of one edition."""
    rule = edition.rule
    last: pl.DataFrame = judged.subjects[runs.last[mine]]
    facts = telling.catalogue.facts_of(requirement.subject)
    asked = [*rule.told, *([GRADE_KNOWN] if telling.troubles else [])]
    told = known_of(requirement.subject, asked, last, telling.past, telling.catalogue)
    known: pl.DataFrame = judged.known.frame[runs.last[mine]]
    wanted = [n for n in told.frame.columns if n not in known.columns]
    frame = known.with_columns(told.frame.select(wanted)).with_columns(
        outcome_code=pl.Series(runs.outcome[mine], dtype=pl.Int8),
        first_subject=judged.subjects["subject"][runs.first[mine]],
        since=judged.subjects["at"][runs.first[mine]],
        until=last["at"],
        item=last["item"],
        evidence=_evidence(judged, rule, runs, mine),
        affected=_affected(judged, rule, runs, mine, telling),
        stands=pl.lit(True),
        **{f"place {name}": last[name] for name in ("van", "tank")},
    )
    used = {name: facts[name] for name in rule.needs if name in facts}
    return frame.select(_columns(requirement, rule, used, facts, telling))


def _columns(
    requirement: Requirement,
    rule: Rule,
    used: Mapping[str, Fact],
    facts: Mapping[str, Fact],
    telling: Telling,
) -> list[pl.Expr]:
    fails = pl.col("outcome_code") == DOES_NOT_CONFORM
    limits = {n: (one.expression(), one.unit.name) for n, one in rule.limits.items()}
    missing = [n for n in rule.needs if n not in rule.excused]
    values = {
        **{n: shown(facts[n]) for n in (*rule.needs, *rule.told) if n in facts},
        **{n: shown_number(value, unit) for n, (value, unit) in limits.items()},
        "van": pl.col("place van"),
        "tank": pl.col("place tank"),
        "subject": pl.col("first_subject"),
        "affected": shown_records(pl.col("affected")),
    }
    finding = pl.lit(f"{rule.rule_set}/{rule.rule}/{rule.subject}/") + pl.col("first_subject")
    texts = {
        "rule_set": rule.rule_set,
        "rule": rule.rule,
        "edition": rule.edition,
        "grading": rule.grading,
        "subject_kind": requirement.subject,
        "caution": rule.caution,
        "permission": None,
        "decision": SIMPLE,
        **dict.fromkeys(("closed_at", "closed_by")),
    }
    columns = {
        **{name: pl.lit(text, pl.String) for name, text in texts.items()},
        "finding": finding,
        "outcome": pl.when(fails).then(pl.lit("does not conform")).otherwise(pl.lit("undecided")),
        # What is not known to fail calls for no correction.
        "correction": pl.when(fails).then(pl.lit(rule.correction)),
        "subject": pl.col("first_subject"),
        "van": pl.col("place van"),
        "tank": pl.col("place tank"),
        "measured": measured(used),
        "limits": limits_measured(limits),
        "missing": _missing(missing),
        "message": pl.when(fails)
        .then(message(rule.says, values))
        .otherwise(_undecided(missing, rule, telling)),
    }
    return [columns.get(name, pl.col(name)).alias(name) for name in SCHEMA]


def _missing(names: list[str]) -> pl.Expr:
    nothing = pl.lit(None, pl.String)  # a list needs one column even where no fact can be missing
    missing = (pl.when(_is_missing(name)).then(pl.lit(name)) for name in names)
    return pl.concat_list(nothing, *missing).list.drop_nulls()


def _is_missing(name: str) -> pl.Expr:
    """Tell where a fact is missing; an uncertainty only where there is something to be sure of."""
    of = name.removeprefix(UNCERTAINTY)
    missing = pl.col(name).is_null()
    return missing if of == name else missing & pl.col(of).is_not_null()


def _undecided(missing: list[str], rule: Rule, telling: Telling) -> pl.Expr:
    """Return why a subject could not be decided: what is missing, and which plugin failed."""
    names = _missing(missing).list.join(", ")
    why = (
        pl.when(names == "")
        .then(pl.lit("Could not be decided from what is recorded."))
        .otherwise(pl.lit("Could not be decided: ") + names + pl.lit(NOT_KNOWN))
    )
    return pl.concat_str(why, *_troubles(rule, telling))


def _troubles(rule: Rule, telling: Telling) -> Iterator[pl.Expr]:
    """Yield which plugins failed, where a fact is missing that they may have told.

    A fact that models tell is theirs to tell only where no model speaks for the grade.
    """
    facts = telling.catalogue.facts_of(rule.subject)
    mine = {name: text for name in rule.needs if (text := telling.troubles.get(name))}
    for text in dict.fromkeys(mine.values()):
        affected = pl.any_horizontal(
            pl.col(name).is_null() & (pl.col(GRADE_KNOWN).is_null() | (name not in facts))
            for name in mine
            if mine[name] == text
        )
        yield pl.when(affected).then(pl.lit(f" {text}")).otherwise(pl.lit(""))


def _evidence(judged: Judged, rule: Rule, runs: Runs, mine: np.ndarray) -> pl.Series:
    """Return the records each verdict rests on: the run's members, then what its facts cite."""
    kept = np.isin(runs.run_of, mine)
    members = (
        pl.DataFrame(
            {"run": runs.run_of[kept], "record": judged.subjects["record"][runs.members[kept]]}
        )
        .group_by("run", maintain_order=True)
        .agg(pl.col("record"))["record"]
    )
    cited = dict.fromkeys(
        judged.known.evidence[name] for name in rule.needs if name in judged.known.evidence
    )
    last = judged.known.frame[runs.last[mine]]
    return pl.DataFrame([members, *(last[column] for column in cited)]).select(
        pl.concat_list(pl.all())
        .list.drop_nulls()
        .list.unique(maintain_order=True)
        .alias("evidence")
    )["evidence"]


def _affected(
    judged: Judged, rule: Rule, runs: Runs, mine: np.ndarray, telling: Telling
) -> pl.Series:
    """Return the records that failing runs put in doubt; none for rules that affect nothing."""
    if rule.affects is None:
        return pl.Series("affected", [[]], RECORDS).new_from_index(0, len(mine))
    item = item_of(rule.subject)
    return records_in_doubt(rule.affects, item, judged.subjects, runs, mine, telling.past)


def _stands(
    judged: Judged, rule: Rule, runs: Runs, mine: np.ndarray, closed: pl.Series
) -> pl.Series:
    """Tell which runs still stand.

    A run stands while no later verdict was given on its item. A failure of a rule that stands until
    a settling record stands until that record, whatever verdicts are given meanwhile. If a resin
    change is the work, the change has ended it: what follows is judged on the new resin.
    """
    last = pl.Series("stands", runs.followed_by[mine] == NOWHERE)
    if rule.stands_until == "settling record":
        failed = pl.Series(runs.outcome[mine] == DOES_NOT_CONFORM)
        return pl.select(pl.when(failed).then(closed.is_null()).otherwise(last)).to_series()
    if rule.settled_by != "resin_change":
        return last
    members: pl.DataFrame = judged.subjects[runs.last[mine]].select("tank", "charge_number")
    charges = judged.past.charges.group_by("tank").agg(pl.col("number").max().cast(pl.Int64))
    now = members.join(charges, on="tank", how="left", maintain_order="left")["number"]
    return last & (members["charge_number"] >= now.fill_null(0))
