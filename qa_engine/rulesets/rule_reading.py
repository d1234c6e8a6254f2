"""Reads one rule: its form, its limits, its conditions and its message."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from qa_engine.conditions import (
    Condition,
    ConditionError,
    Limit,
    guarded_condition,
    parse_condition,
    read_quantity,
)
from qa_engine.errors import LONGEST_NAME, UnitError, nearest
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import EVENT_SUBJECTS, STATE_SUBJECTS, Fact
from qa_engine.records import KINDS
from qa_engine.rulesets.decision import SIMPLE, Decision, read_confidence
from qa_engine.rulesets.limits import LimitReader
from qa_engine.rulesets.rule import LISTED_UNDER, Example, Rule
from qa_engine.rulesets.settling import SettlingReader
from qa_engine.rulesets.shape import load
from qa_engine.rulesets.wording import AFFECTED, ALWAYS_TOLD, pieces, placeholders
from qa_engine.units import between, unit
from qa_engine.yaml_tree import Document, Path, Problem

LONGEST_WITHIN = timedelta(days=3660)
"""The longest time that a rule may give [about ten years]."""


@dataclass(frozen=True)
class Setting:
    """What rules of one file are read against.

    Attributes:
        document: the file.
        rule_set, edition: what the file is.
        catalogue: the facts there are.
        facts: the facts by subject, kept once they have been asked for.
        all_unsure: whether unknown names are taken, and leave undecided what they stand in.
    """

    document: Document
    rule_set: str
    edition: str
    catalogue: Catalogue
    all_unsure: bool
    facts: dict[str, dict[str, Fact]] = field(default_factory=dict)

    def facts_of(self, subject: str) -> Mapping[str, Fact]:
        """Return the facts of a kind of subject by name."""
        if subject not in self.facts:
            self.facts[subject] = self.catalogue.facts_of(subject)
        return self.facts[subject]


@dataclass
class RuleReader:
    """Reads the rule at a path; ``problems`` collects all that is wrong with it."""

    setting: Setting
    path: Path
    problems: list[Problem] = field(default_factory=list)
    part: dict[str, Any] = field(default_factory=dict)
    facts: Mapping[str, Fact] = field(default_factory=dict)

    def read(self, written: Any) -> Rule | None:
        """Return the rule, None if there is a problem with it."""
        loaded = load(self.setting.document, "rule", self.path, written)
        self.part, self.problems = loaded.part, loaded.problems
        subject = self.part.get("subject")
        within = self._within()
        decision = self._decision()
        if subject is None:
            return None
        self.facts = self.setting.facts_of(subject)
        limits = self._limits()
        stated = _limits_stated(written)
        conditions = self._conditions(limits, stated)
        if decision.confidence is not None and len(limits) == len(stated):
            conditions |= self._guarded(conditions["requires"], decision.confidence)
        self._check_says(limits, stated)
        self._check_subject(subject)
        settled_where = self._settled_where()
        if self.problems or not loaded.whole:
            return None
        rule = self._rule(conditions, limits, within, decision, settled_where)
        self._check_use(rule)
        return None if self.problems else rule

    def _rule(
        self,
        conditions: Mapping[str, Condition | None],
        limits: Mapping[str, Limit],
        within: timedelta | None,
        decision: Decision,
        settled_where: Condition | None,
    ) -> Rule:
        part, document = self.part, self.setting.document
        named = [n for one in conditions.values() if one for n in one.names]
        named += [limit.by for limit in limits.values() if limit.by]
        texts = ("rule", "title", "subject", "grading", "says", "correction")
        return Rule(
            **{name: part[name] for name in texts},
            rule_set=self.setting.rule_set,
            edition=self.setting.edition,
            **conditions,  # type: ignore[arg-type]
            limits=limits,
            within=within,
            basis=part.get("basis"),
            caution=part.get("caution"),
            permission=part.get("permission", "by request"),
            affects=part.get("affects"),
            settled_by=part.get("settled_by", {}).get("kind"),
            settled_where=settled_where,
            stands_until=part.get("stands_until", "conforming verdict"),
            examples=tuple(self._examples()),
            known=frozenset(n for n in (*named, *placeholders(part["says"])) if n in self.facts),
            source=document.source,
            line=document.place_of(self.path)[0],
            path=self.path,
            decision=decision,
        )

    def _limits(self) -> dict[str, Limit]:
        path = (*self.path, "limits")
        reader = LimitReader(self.setting.document, path, self.facts, self.setting.all_unsure)
        limits = reader.read({n: p for n, p in self.part.get("limits", {}).items() if "is" in p})
        self.problems += reader.problems
        return limits

    def _settled_where(self) -> Condition | None:
        setting = self.setting
        reader = SettlingReader(setting.document, self.path, setting.catalogue)
        where = reader.read(self.part)
        self.problems += reader.problems
        return where

    def _conditions(
        self, limits: Mapping[str, Limit], written: Collection[str]
    ) -> dict[str, Condition | None]:
        return {key: self._condition(key, limits, written) for key in ("applies_if", "requires")}

    def _condition(
        self, key: str, limits: Mapping[str, Limit], written: Collection[str]
    ) -> Condition | None:
        if key not in self.part:
            return None
        try:
            return parse_condition(
                self.part[key],
                self.facts,
                limits,
                subject=self.part["subject"],
                unsure=[name for name in written if name not in limits],
                all_unsure=self.setting.all_unsure,
            )
        except ConditionError as error:
            self._refuse_condition(key, error)
        return None

    def _refuse_condition(self, key: str, error: ConditionError) -> None:
        for fault in error.faults:
            at = ((*self.path, key), fault.offset, fault.message, fault.help)
            self.problems.append(self.setting.document.problem_in(*at, width=fault.width))

    def _guarded(
        self, requires: Condition | None, confidence: float
    ) -> dict[str, Condition | None]:
        """Return the requirement so that it allows for uncertainty of measurement.

        What the rule is confined to stays as it reads: only conformity is decided with confidence.
        """
        try:
            return {"requires": requires and guarded_condition(requires, self.facts, confidence)}
        except ConditionError as error:
            self._refuse_condition("requires", error)
        return {}

    def _within(self) -> timedelta | None:
        if "within" not in self.part:
            return None
        written = self.part["within"]
        try:
            number, of = read_quantity(written)
            given = timedelta(seconds=between(of, unit("s")).apply(number))
            if not timedelta() < given <= LONGEST_WITHIN:
                raise UnitError(f"it is not above 0 and at most {LONGEST_WITHIN.days} days")
        except (UnitError, OverflowError) as error:
            help = "a time is written 30 days, 12 h or 90 min"
            what = f"'{written[:LONGEST_NAME]}' is not a time that can be given: {error}"
            self._refuse(("within",), what, help)
            return None
        return given

    def _decision(self) -> Decision:
        part = self.part.get("decision", {})
        acceptance, written = part.get("acceptance"), part.get("confidence")
        if acceptance != "guarded":
            if acceptance and written:
                what = "simple acceptance asks for no confidence"
                self._refuse(("decision", "confidence"), what, "leave it out, or write 'guarded'")
            return SIMPLE
        if written is None:
            what = "guarded acceptance needs to know how sure is sure enough"
            self._refuse(("decision", "acceptance"), what, "add a confidence, such as 95 %")
            return SIMPLE
        try:
            return Decision("guarded", read_confidence(written))
        except UnitError as error:
            what = f"'{written[:LONGEST_NAME]}' is not a confidence that can be asked for: {error}"
            self._refuse(("decision", "confidence"), what, "a confidence is written 95 %")
        return SIMPLE

    def _check_says(self, limits: Mapping[str, Limit], written: Collection[str]) -> None:
        tells_affected = (AFFECTED,) if "affects" in self.part else ()
        known = (*self.facts, *limits, *written, *ALWAYS_TOLD, *tells_affected)
        for piece in pieces(self.part.get("says", "")):
            if piece.name in known or (piece.name and self.setting.all_unsure):
                continue
            if piece.name is None:
                what = f"'{piece.written}' is not a placeholder"
                help = "a placeholder is a name in braces; braces themselves are doubled"
            elif piece.name == AFFECTED:
                what = "'{affected}' has no meaning in a rule without 'affects'"
                help = "add 'affects:' and the kind of record that a failure puts in doubt"
            else:
                what = f"'{piece.name}' is neither a fact of this subject nor a limit of this rule"
                help = nearest(piece.name, known)
            at = ((*self.path, "says"), piece.offset, what, help)
            self.problems.append(self.setting.document.problem_in(*at, width=len(piece.written)))

    def _check_subject(self, subject: str) -> None:
        if "within" in self.part and subject not in EVENT_SUBJECTS:
            what = f"a rule about a {subject} cannot have 'within'"
            self._refuse(("within",), what, "only what is logged at an instant can be followed up")
        item = KINDS[subject].item if subject in KINDS else STATE_SUBJECTS[subject]
        if "affects" in self.part and item not in ("tank", "meter"):
            what = f"a rule about a {subject} cannot say what it affects"
            self._refuse(("affects",), what, "only tanks and meters put records in doubt")

    def _check_use(self, rule: Rule) -> None:
        """Look for limits that no condition names, and for facts that need more time."""
        used = {name for condition in rule.conditions for name in condition.limit_names}
        for name in rule.limits:
            if name not in used:
                what = f"no condition of this rule names the limit '{name}'"
                self._refuse(("limits", name), what, "use it or leave it out", key=True)
        for name in (*rule.needs, *rule.told):
            if rule.within is None and name in rule.known and self._looks_ahead(rule.subject, name):
                what = f"'{name}' looks at what follows, and the rule gives no time for it"
                self._refuse(("requires",), what, "add 'within:' and a time, such as 30 days")

    def _looks_ahead(self, subject: str, name: str) -> bool:
        return self.setting.catalogue.group_of(subject, name).looks_ahead

    def _examples(self) -> list[Example]:
        found = []
        for listed_under in LISTED_UNDER:
            path = (*self.path, "examples", listed_under)
            stated = self.part["examples"].get(listed_under, [])
            alone = isinstance(self.setting.document.node((*path, 0)), type(None))
            found += [
                Example(listed_under, facts, path if alone else (*path, at))
                for at, facts in enumerate(stated)
            ]
        return found

    def _refuse(self, path: Path, what: str, help: str = "", *, key: bool = False) -> None:
        at = (*self.path, *path)
        self.problems.append(self.setting.document.problem(at, what, help, key=key))


def _limits_stated(written: Mapping[str, Any]) -> Collection[str]:
    """Return the names of the limits that a rule states, usable or not."""
    limits = written.get("limits")
    return limits if isinstance(limits, dict) else ()
