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
    # The requirement stands here once: a guarded one asks Python, and would be asked twice.
    if applies is None:
        return requires.cast(pl.Int8).fill_null(UNDECIDED)
    # A failure counts only where the rule surely applies: "or unknown" makes it open elsewhere.
    answer = requires | pl.when(applies).then(pl.lit(False))
    outcome = answer.cast(pl.Int8).fill_null(UNDECIDED)
    return pl.when(~applies).then(pl.lit(NOT_APPLICABLE, pl.Int8)).otherwise(outcome)
