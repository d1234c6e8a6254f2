"""Drafts: an edition as somebody typed it, looked at from all sides before it is proposed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from qa_engine.errors import RuleSetError
from qa_engine.facts.catalogue import Catalogue
from qa_engine.proof import verify
from qa_engine.rulesets import Edition, Problem, read_rule_sets
from qa_engine.rulesets.edition import clashes
from qa_engine.yaml_tree import Document, RefusedNode, TextNode, first_of, read_yaml

SOURCE = "proposal"
"""How problems name a draft."""

LARGEST = 128 * 1024
"""The most a draft may hold [bytes]."""

MOST_RULES = 60
"""The most rules of a draft: scoring examples takes long where rules are many."""

MOST_WORDING = 2_000_000
"""The most that squares of the lengths of conditions may come to, for the same reason."""

BEGINS = ("in_force", "from")


@dataclass(frozen=True)
class Draft:
    """A draft in which nothing is wrong: its text, with plain line ends, and the edition."""

    text: str
    edition: Edition


def plain_text(content: bytes) -> bytes:
    """Return what was typed or handed in, with plain line ends."""
    plain = content.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n")
    return plain.replace(b"\r", b"\n")


def draft_of(content: bytes, standing: Sequence[Edition], catalogue: Catalogue) -> Draft:
    """Return a draft in which nothing is wrong.

    Args:
        content: the rule file.
        standing: the editions beside which it would stand.
        catalogue: the facts that rules may name.

    Raises:
        RuleSetError: something is wrong; ``problems`` holds all of it, with places.
    """
    if len(content) > LARGEST:
        what = f"the text has {len(content):,} bytes; at most {LARGEST:,} are taken here"
        raise RuleSetError([Problem(SOURCE, 1, 1, what, "split the rule set")])
    content = plain_text(content)
    _refuse_replaced(content)
    (edition,) = read_rule_sets([(SOURCE, content)], catalogue)
    problems = list(_too_much(edition)) or list(_at_fault(edition, standing, catalogue))
    if problems:
        raise RuleSetError(first_of(sorted(problems, key=lambda one: (one.line, one.column))))
    return Draft(content.decode(), edition)


def _refuse_replaced(content: bytes) -> None:
    """Find the mark that a browser sets in the place of what it could not read."""
    text = content.decode("utf-8", "ignore")
    if (index := text.find("\N{REPLACEMENT CHARACTER}")) >= 0:
        document = Document(SOURCE, text, RefusedNode(0), ())
        what = "this character stands where something could not be read as UTF-8"
        raise RuleSetError([document.problem_at(index, what, "write what belongs here")])


def _too_much(edition: Edition) -> Iterator[Problem]:
    """Yield why looking at an edition would take too long."""
    document, rules = edition.document, edition.rules
    if len(rules) > MOST_RULES:
        what = f"there are {len(rules)} rules; at most {MOST_RULES} are taken here"
        yield document.problem(("rules",), what, "split the rule set")
    texts = [rule.requires.text for rule in rules]
    texts += [rule.applies_if.text for rule in rules if rule.applies_if]
    if sum(len(text) ** 2 for text in texts) > MOST_WORDING:
        what = "the conditions are too long, all together, to be looked at here"
        yield document.problem(("rules",), what, "write shorter conditions, or split the rule set")


def _at_fault(
    edition: Edition, standing: Sequence[Edition], catalogue: Catalogue
) -> Iterator[Problem]:
    yield from verify([edition], catalogue).problems
    mine = [one for one in standing if one.rule_set == edition.rule_set]
    yield from clashes([*mine, edition])


def begun_on(text: str, on: date) -> str:
    """Return a rule file whose edition is in force from a day on; the rest is as it was."""
    node = read_yaml(SOURCE, text.encode()).node(BEGINS)
    if not isinstance(node, TextNode) or node.text == on.isoformat():
        return text
    return f"{text[: node.start]}{on.isoformat()}{text[node.end :]}"


def before(edition: Edition, standing: Sequence[Edition]) -> Edition | None:
    """Return the edition in whose place a new one would judge; None if there is none."""
    mine = [one for one in standing if one.rule_set == edition.rule_set]
    earlier = [one for one in mine if one.in_force_from < edition.in_force_from]
    return max(earlier, key=lambda one: one.in_force_from, default=None)


def after(edition: Edition, standing: Sequence[Edition]) -> Edition | None:
    """Return the edition that would take the place of a new one; None if there is none."""
    mine = [one for one in standing if one.rule_set == edition.rule_set]
    later = [one for one in mine if one.in_force_from > edition.in_force_from]
    return min(later, key=lambda one: one.in_force_from, default=None)
