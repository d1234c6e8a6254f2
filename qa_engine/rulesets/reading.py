"""Reads rule files into editions, or says everything that is wrong with all of them."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any, Literal

from qa_engine.errors import LONGEST_NAME, RuleSetError
from qa_engine.facts.catalogue import Catalogue
from qa_engine.rulesets.edition import Edition, clashes, in_succession
from qa_engine.rulesets.rule import Rule
from qa_engine.rulesets.rule_reading import RuleReader, Setting
from qa_engine.rulesets.shape import load
from qa_engine.yaml_tree import MOST_PROBLEMS, Document, Problem, first_of, read_yaml


def read_rule_sets(
    sources: Iterable[tuple[str, bytes]],
    catalogue: Catalogue,
    *,
    unknown_names: Literal["refuse", "undecided"] = "refuse",
) -> tuple[Edition, ...]:
    """Return the editions that files hold, by rule set and first day in force.

    Args:
        sources: name and content of each file.
        catalogue: the facts that rules may name.
        unknown_names: what to do about a fact that nobody knows: call it a problem, or leave
            undecided what it stands in, as while a plugin is out of order.

    Raises:
        RuleSetError: some file cannot be used; ``problems`` holds all problems of all files.
    """
    problems: list[Problem] = []
    editions: list[Edition] = []
    for source, content in sources:
        reader = _FileReader(read_yaml(source, content), catalogue, unknown_names == "undecided")
        edition = reader.read(sha256(content).hexdigest())
        found = sorted(reader.problems, key=lambda problem: (problem.line, problem.column))
        problems += first_of(found)
        editions += [edition] if edition else []
    problems += clashes(editions)
    if problems:
        raise RuleSetError(problems)
    return in_succession(editions)


@dataclass
class _FileReader:
    """Reads one file; ``problems`` collects what is wrong with it."""

    document: Document
    catalogue: Catalogue
    all_unsure: bool
    problems: list[Problem] = field(default_factory=list)

    def read(self, digest: str) -> Edition | None:
        document = self.document
        self.problems += document.problems
        if document.is_refused(()):
            return None
        loaded = load(document, "rule set", (), document.data)
        head = loaded.part
        self.problems += loaded.problems
        rules = self._rules(head)
        if self.problems or not loaded.whole:
            return None
        in_force = head["in_force"]
        days = in_force["from"], in_force.get("until")
        if days[1] and days[1] < days[0]:
            what = f"the edition ends on {days[1]}, before it begins"
            self.problems.append(document.problem(("in_force", "until"), what))
        names = (head["rule_set"], head["title"], head["edition"])
        return Edition(*names, *days, head["owner"], rules, digest, document.source, document)

    def _rules(self, head: dict[str, Any]) -> tuple[Rule, ...]:
        setting = Setting(
            self.document,
            head.get("rule_set", ""),
            head.get("edition", ""),
            self.catalogue,
            self.all_unsure,
        )
        rules = []
        for at, written in enumerate(head.get("rules", [])):
            if self.document.is_refused(("rules", at)):
                continue
            reader = RuleReader(setting, ("rules", at))
            rules.append(reader.read(written))
            self.problems += reader.problems
            if len(self.problems) > MOST_PROBLEMS:
                break
        if not head.get("rules", [True]):
            self.problems.append(self.document.problem(("rules",), "there is no rule in the list"))
        self.problems += _same_names(self.document, head.get("rules", []))
        return tuple(rule for rule in rules if rule)


def _same_names(document: Document, rules: list[Any]) -> Iterable[Problem]:
    lines: dict[str, int] = {}
    for at, written in enumerate(rules):
        name = written.get("rule") if isinstance(written, dict) else None
        if not isinstance(name, str):
            continue
        path = ("rules", at, "rule")
        line = document.place_of(path)[0]
        first = lines.setdefault(name, line)
        if first != line:
            help = f"the other one stands on line {first}; give each rule a name of its own"
            yield document.problem(path, f"there are two rules '{name[:LONGEST_NAME]}'", help)
