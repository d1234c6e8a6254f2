"""Conditions: what a rule says must hold, checked for sense once and then asked of many.

A condition is one typed tree with two faces: a polars expression over whole columns of facts, and
a plain function of one subject. Both follow Kleene's three-valued logic, in which what is missing
makes the answer open, never true; a property test holds them equal.
"""

from qa_engine.conditions.condition import Condition, ConditionError, parse_condition
from qa_engine.conditions.grammar import FUNCTIONS, Fault
from qa_engine.conditions.guard import Guard, guards_in, probability_of
from qa_engine.conditions.guarding import guarded_condition, is_uncertainty
from qa_engine.conditions.limit import Limit, read_quantity
from qa_engine.conditions.verdicts import SLACK

__all__ = [
    "FUNCTIONS",
    "SLACK",
    "Condition",
    "ConditionError",
    "Fault",
    "Guard",
    "Limit",
    "guarded_condition",
    "guards_in",
    "is_uncertainty",
    "parse_condition",
    "probability_of",
    "read_quantity",
]
