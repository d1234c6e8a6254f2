"""Reads the limits of a rule."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from keyword import iskeyword
from typing import Any

from qa_engine.conditions import FUNCTIONS, Limit, read_quantity
from qa_engine.errors import UnitError, nearest
from qa_engine.facts.fact import Fact
from qa_engine.rulesets.wording import AFFECTED, ALWAYS_TOLD
from qa_engine.units import Unit, between
from qa_engine.yaml_tree import Document, Path, Problem


@dataclass
class LimitReader:
    """Reads the limits of one rule; ``problems`` collects what is wrong with them.

    Attributes:
        document: the file.
        path: where the limits stand.
        facts: the facts of the rule's subject.
        all_unsure: whether unknown names of facts are taken.
    """

    document: Document
    path: Path
    facts: Mapping[str, Fact]
    all_unsure: bool
    problems: list[Problem] = field(default_factory=list)

    def read(self, written: Mapping[str, Mapping[str, Any]]) -> dict[str, Limit]:
        """Return the limits that can be used, by name."""
        found = {name: self._limit(name, part) for name, part in written.items()}
        return {name: limit for name, limit in found.items() if limit}

    def _limit(self, name: str, part: Mapping[str, Any]) -> Limit | None:
        before = len(self.problems)
        self._check_name(name)
        by = part.get("by")
        if isinstance(part["is"], dict):
            self._check_by(name, by, part["is"])
        elif by is not None:
            help = f"write `is` as a mapping from each {by} to a quantity"
            self._refuse((name, "by"), "a limit with `by` needs a quantity per word", help)
        quantities = list(self._quantities(name, part["is"]))
        if len(self.problems) > before:
            return None
        wanted = quantities[0][2]
        values = {word: between(of, wanted).apply(n) for word, n, of in quantities}
        written = part["is"] if by is None else ", ".join(f"{w} {q}" for w, q in part["is"].items())
        value = values if by else quantities[0][1]
        return Limit(name, wanted, value, by, part["basis"], part.get("review_by"), written)

    def _check_name(self, name: str) -> None:
        taken = (*FUNCTIONS, *ALWAYS_TOLD, AFFECTED)
        if name in self.facts:
            what = f"the limit '{name}' has the name of a fact"
            self._refuse((name,), what, f"name it otherwise, such as {name}_limit", key=True)
        elif not name.isidentifier() or not name.isascii() or iskeyword(name) or name in taken:
            what = f"'{name}' cannot be the name of a limit"
            help = "take letters, digits and underscores, and no word that has a meaning already"
            self._refuse((name,), what, help, key=True)

    def _check_by(self, name: str, by: str | None, values: Mapping[str, str]) -> None:
        if by is None:
            help = "add `by:` and the fact whose words choose the value"
            self._refuse((name, "is"), "a quantity per word needs `by`", help)
            return
        fact = self.facts.get(by)
        if fact is None:
            if not self.all_unsure:
                hint = nearest(by, (n for n, one in self.facts.items() if one.type == "words"))
                self._refuse((name, "by"), f"'{by}' is not a fact of this subject", hint)
            return
        if fact.type != "words":
            self._refuse((name, "by"), f"'{by}' is not a fact of words", "only words can choose")
            return
        for word in values if fact.words else ():
            if word not in fact.words:
                help = f"{nearest(word, fact.words)} it is one of: {', '.join(fact.words)}".strip()
                self._refuse((name, "is", word), f"'{by}' is never '{word}'", help, key=True)

    def _quantities(self, name: str, written: Any) -> Iterator[tuple[str, float, Unit]]:
        """Yield word, number and unit of each quantity; all must measure the same thing."""
        pairs = written.items() if isinstance(written, dict) else [("", written)]
        first: Unit | None = None
        for word, quantity in pairs:
            path = (name, "is", word) if word else (name, "is")
            try:
                number, of = read_quantity(quantity)
                between(of, first or of)
            except UnitError as error:
                self._refuse(path, f"the limit '{name}' cannot be taken: {error}")
                continue
            first = first or of
            yield word, number, of

    def _refuse(self, path: Path, what: str, help: str = "", *, key: bool = False) -> None:
        self.problems.append(self.document.problem((*self.path, *path), what, help, key=key))
