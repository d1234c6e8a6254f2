"""Rule sets: the standards of the trade and of the house, read from YAML and checked when read.

A file is one edition of a rule set. Every problem of every file is reported at once, with the
line it stands on; a rule set with a problem is never used in part.
"""

from qa_engine.conditions import Condition, Limit
from qa_engine.rulesets.decision import Decision
from qa_engine.rulesets.edition import Edition
from qa_engine.rulesets.examples import check_examples
from qa_engine.rulesets.reading import read_rule_sets
from qa_engine.rulesets.rule import Example, Rule
from qa_engine.rulesets.wording import cut, placeholders
from qa_engine.yaml_tree import Problem

__all__ = [
    "Condition",
    "Decision",
    "Edition",
    "Example",
    "Limit",
    "Problem",
    "Rule",
    "check_examples",
    "cut",
    "placeholders",
    "read_rule_sets",
]
