"""Conformity: what the answers to a rule's two questions, applies it and does it hold, come to.

=========  =====  =====  =========
applies    holds  fails  undecided
=========  =====  =====  =========
yes        1      0      -1
no         3      3      3
undecided  1      -1     -1
=========  =====  =====  =========
"""

import polars as pl

CONFORMS = 1
DOES_NOT_CONFORM = 0
UNDECIDED = -1
PENDING = 2
"""Not yet due: an event whose time to be followed up has not run out."""
NOT_APPLICABLE = 3


def outcome_of_one(applies: bool | None, requires: bool | None) -> int:
    """Return the outcome for one subject; a rule without ``applies_if`` applies (True)."""
    if applies is False:
        return NOT_APPLICABLE
    if requires:
        return CONFORMS
    return DOES_NOT_CONFORM if applies and requires is False else UNDECIDED


def outcome_expression(applies: pl.Expr | None, requires: pl.Expr) -> pl.Expr:
    """Return the outcomes of many subjects as Int8.

    Args:
        applies: whether the rule applies, null where undecided; None if it always does.
        requires: whether its requirement holds, null where undecided.
    """
    conforms, fails, undecided, not_applicable = (
        pl.lit(code, pl.Int8) for code in (CONFORMS, DOES_NOT_CONFORM, UNDECIDED, NOT_APPLICABLE)
    )
    if applies is None:
        return pl.when(requires).then(conforms).when(~requires).then(fails).otherwise(undecided)
    return (
        pl.when(~applies)
        .then(not_applicable)
        .when(requires)
        .then(conforms)
        .when(applies & ~requires)
        .then(fails)
        .otherwise(undecided)
    )
