"""Reads what settles a failure: the kind of record that logs the work, and what it must state."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from qa_engine.conditions import Condition, ConditionError, parse_condition
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import STATE_SUBJECTS
from qa_engine.records import KINDS
from qa_engine.yaml_tree import Document, Path, Problem


@dataclass
class SettlingReader:
    """Reads ``settled_by`` of the rule at a path; ``problems`` collects what is wrong with it."""

    document: Document
    path: Path
    catalogue: Catalogue
    problems: list[Problem] = field(default_factory=list)

    def read(self, part: Mapping[str, Any]) -> Condition | None:
        """Return what a settling record must state, None if any of its kind will do.

        Args:
            part: the rule as far as its form is good; has ``subject``.
        """
        settling = part.get("settled_by", {})
        kind, lasts = settling.get("kind"), part.get("stands_until") == "settling record"
        if "settled_by" not in part and lasts:
            what = "no record is named that would settle it"
            self._refuse(("stands_until",), what, "say with 'settled_by' which kind of record does")
        if kind is None:
            return None
        self._check_kind(kind, part["subject"])
        if "where" not in settling:
            return None
        if not lasts:
            what = "what the record must state counts only where a failure stands until it"
            help = "add 'stands_until: settling record', or leave 'where' out"
            self._refuse(("settled_by", "where"), what, help)
        return self._where(kind, settling["where"])

    def _check_kind(self, kind: str, subject: str) -> None:
        item = KINDS[kind].item
        fields = KINDS[subject].fields if subject in KINDS else (STATE_SUBJECTS[subject],)
        if item != "item" and item not in fields:
            what = f"no {kind} can settle a rule about a {subject}"
            help = f"a {kind} is logged for a {item}, and a {subject} has none"
            self._refuse(("settled_by",), what, help)

    def _where(self, kind: str, text: str) -> Condition | None:
        fields = KINDS[kind].fields
        own = {n: fact for n, fact in self.catalogue.facts_of(kind).items() if n in fields}
        try:
            return parse_condition(text, own, {}, subject=kind)
        except ConditionError as error:
            path = (*self.path, "settled_by", "where")
            for fault in error.faults:
                at = (path, fault.offset, fault.message, fault.help)
                self.problems.append(self.document.problem_in(*at, width=fault.width))
        return None

    def _refuse(self, path: Path, what: str, help: str) -> None:
        self.problems.append(self.document.problem((*self.path, *path), what, help))
