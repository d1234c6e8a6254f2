"""Reads a permissions file, or says everything that is wrong with it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from hashlib import sha256
from typing import Any
from zoneinfo import ZoneInfo

from marshmallow import Schema, ValidationError

from qa_engine.errors import PermissionsError, nearest
from qa_engine.fields import Refusal, shown
from qa_engine.permissions.form import LONGEST_D, UNKNOWN, FileForm, PermissionForm, ScopeForm
from qa_engine.permissions.permission import Permission, follows, starts
from qa_engine.rulesets import Edition
from qa_engine.yaml_tree import Document, MapNode, Path, Problem, flatten, read_yaml

MOST_PERMISSIONS = 1000
"""Most permissions of a file."""


@dataclass(frozen=True)
class Permissions:
    """What a permissions file says.

    Attributes:
        listed: its permissions, in the order written.
        longest_d: the longest term that it lets a permission have [days].
        source: the file.
        sha256: its digest.
    """

    listed: tuple[Permission, ...]
    longest_d: int
    source: str
    sha256: str


def read_permissions(
    source: str, content: bytes, zone: ZoneInfo, editions: Sequence[Edition]
) -> Permissions:
    """Return the permissions that a file holds.

    A permission may be about a rule set that is not among ``editions``, since an inspection need
    not judge by all there are; a rule that its set lacks in every edition is a mistake.

    Args:
        source: how to name the file in problems.
        content: what it holds.
        zone: the zone in which the operator's days are counted.
        editions: the rule sets that judge.

    Raises:
        PermissionsError: it cannot be used; ``problems`` holds all that is wrong, with places.
    """
    reader = _Reader(read_yaml(source, content), zone, editions, sha256(content).hexdigest())
    permissions = reader.read()
    if reader.problems:
        problems = sorted(reader.problems, key=lambda problem: (problem.line, problem.column))
        raise PermissionsError(problems)
    return permissions


@cache
def _form(name: str) -> Schema:
    return {"file": FileForm, "permission": PermissionForm, "scope": ScopeForm}[name]()


_LABELS = {"file": "a permissions file", "permission": "a permission", "scope": "'scope'"}


def _form_name(path: Path) -> str:
    """Return what kind of mapping stands at a path."""
    return ("file", "file", "permission", "scope")[len(path)]


@dataclass
class _Reader:
    """Reads one file; ``problems`` collects what is wrong with it."""

    document: Document
    zone: ZoneInfo
    editions: Sequence[Edition]
    sha256: str
    problems: list[Problem] = field(default_factory=list)

    def read(self) -> Permissions:
        self.problems += self.document.problems
        head = {} if self.document.is_refused(()) else self._load((), self.document.data or {})
        longest = int(head.get("longest", LONGEST_D))
        entries = head.get("permissions", [])
        if len(entries) > MOST_PERMISSIONS:
            self._say(("permissions",), f"more than {MOST_PERMISSIONS} permissions", "split it")
        listed = [
            one
            for place, written in enumerate(entries[:MOST_PERMISSIONS])
            if (one := self._permission(("permissions", place), written, longest))
        ]
        self.problems += _same_names(self.document, entries)
        return Permissions(tuple(listed), longest, self.document.source, self.sha256)

    def _say(self, path: Path, message: str, help: str = "") -> None:
        if not self.document.is_refused(path):
            self.problems.append(self.document.problem(path, message, help))

    def _load(self, path: Path, written: Any) -> dict[str, Any]:
        """Return what is good of a mapping; what is not is said.

        An empty value is never taken for a key left out: an empty scope is not everywhere.
        """
        empty = set(_empty(path, written))
        for hollow in empty:
            self._say(hollow, f"'{hollow[-1]}' has no value", "write one, or leave the key out")
        try:
            good: dict[str, Any] = _form(_form_name(path)).load(written)
        except ValidationError as error:
            found = [((*path, *inner), text) for inner, text in flatten(error.messages)]
            found = [(inner, text) for inner, text in found if inner not in empty]
            self.problems += _worded(self.document, found)
            good = error.valid_data if isinstance(error.valid_data, dict) else {}
        return good

    def _permission(self, path: Path, written: Any, longest_d: int) -> Permission | None:
        if self.document.is_refused(path):
            return None
        told = len(self.problems)
        good = self._load(path, written)
        rule_set, rule = self._about(path, good)
        self._check_order(path, good)
        texts = ("permission", "type", "reason", "requested_by", "approved_by")
        same = (*texts, "requested_on", "approved_on", "until")
        # A value that the reader of the file refused has its problem there, and is lacking here.
        whole = all(name in good for name in (*same, "from"))
        if len(self.problems) > told or not whole or self.document.may_lack(path):
            return None
        scope = good.get("scope") or {}
        return Permission(
            **{name: good[name] for name in same},
            rule_set=rule_set,
            rule=rule,
            van=scope.get("van"),
            tank=scope.get("tank"),
            begins=good["from"],
            longest_d=longest_d,
            source=self.document.source,
            line=self.document.place_of(path)[0],
            sha256=self.sha256,
        )

    def _about(self, path: Path, good: dict[str, Any]) -> tuple[str, str | None]:
        """Return the rule set and the rule that a permission is about."""
        written, rule_set = good.get("rule"), good.get("rule_set")
        if written and rule_set:
            self._say((*path, "rule_set"), "both a rule and a rule set", "keep one of the two")
        if written is None:
            if not self._says_what(path):
                help = "add 'rule: set/rule', or 'rule_set:' for all rules of a set"
                self._say(path, "it is not said what is permitted", help)
            return rule_set or "", None
        rule_set, _, rule = written.partition("/")
        if not rule:
            help = "write the rule set, a slash and the rule"
            self._say((*path, "rule"), f"'{shown(written)}' does not name a rule", help)
        self._check_rule(path, rule_set, rule)
        return rule_set, rule

    def _says_what(self, path: Path) -> bool:
        """Tell whether a permission says, well or badly, what it is about."""
        node = self.document.node(path)
        if not isinstance(node, MapNode) or self.document.may_lack(path):
            return True
        return "rule" in node.keys or "rule_set" in node.keys

    def _check_rule(self, path: Path, rule_set: str, rule: str) -> None:
        rules = {r.rule for e in self.editions if e.rule_set == rule_set for r in e.rules}
        if rule and rules and rule not in rules:
            help = nearest(rule, sorted(rules)) or "'qa-engine rules list' shows all rules"
            self._say((*path, "rule"), f"'{rule_set}' has no rule '{shown(rule)}'", help)

    def _check_order(self, path: Path, good: dict[str, Any]) -> None:
        """Say where an end comes before its beginning."""
        for first, last, message in (
            ("from", "until", "it ends before it begins"),
            ("requested_on", "approved_on", "it was approved before it was asked for"),
        ):
            if {first, last} <= good.keys() and (
                starts(good[first], self.zone) >= follows(good[last], self.zone)
            ):
                self._say((*path, last), message, f"'{first}' says {good[first]}")


def _empty(path: Path, written: Any) -> Iterator[Path]:
    """Yield the paths of keys without a value in a mapping and the mappings in it."""
    for name, value in written.items() if isinstance(written, dict) else ():
        if value is None or (isinstance(value, str) and not value.strip()):
            yield (*path, name)
        yield from _empty((*path, name), value)


def _same_names(document: Document, entries: Iterable[Any]) -> Iterator[Problem]:
    lines: dict[str, int] = {}
    for place, written in enumerate(entries):
        name = written.get("permission") if isinstance(written, dict) else None
        if not isinstance(name, str):
            continue
        path = ("permissions", place, "permission")
        line = document.place_of(path)[0]
        if (first := lines.setdefault(name, line)) != line:
            help = f"the other one stands on line {first}; give each an id of its own"
            yield document.problem(path, f"there are two permissions '{shown(name)}'", help)


def _worded(document: Document, found: Sequence[tuple[Path, str]]) -> Iterator[Problem]:
    """Yield a problem for each message of a schema that has not been said before."""
    meant = {_meant(path) for path, text in found if text == UNKNOWN}
    for path, text in found:
        if document.is_refused(path):
            continue
        if text == UNKNOWN:
            yield _unknown(document, path)
        elif getattr(text, "why", text) != "missing":
            fault = text.fault if isinstance(text, Refusal) else text
            help = f"expected {text.expected}" if isinstance(text, Refusal) else ""
            about = f"'{path[-1]}': " if path and isinstance(path[-1], str) else ""
            yield document.problem(path, about + fault, help)
        elif path not in meant and not document.may_lack(path[:-1]):
            yield _lacking(document, path, text)


def _lacking(document: Document, path: Path, text: str) -> Problem:
    help = f"expected {text.expected}" if isinstance(text, Refusal) else f"add '{path[-1]}:'"
    label = _LABELS[_form_name(path[:-1])]
    return document.problem(path[:-1], f"{label} lacks '{path[-1]}'", help)


def _unknown(document: Document, path: Path) -> Problem:
    form = _form_name(path[:-1])
    fields = _form(form).fields
    help = nearest(str(path[-1]), fields) or f"its keys are: {', '.join(fields)}"
    what = f"'{shown(path[-1])}' is not a key of {_LABELS[form]}"
    return document.problem(path, what, help, key=True)


def _meant(path: Path) -> Path:
    """Return the path that a misspelt key was meant for, so that it is not called lacking too."""
    hint = nearest(str(path[-1]), _form(_form_name(path[:-1])).fields)
    return (*path[:-1], hint.partition("'")[2].rpartition("'")[0])
