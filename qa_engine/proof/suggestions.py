"""Suggestions: few examples that would do all that those of a rule do not."""

from collections.abc import Iterator

from qa_engine.proof.scoring import Score, Unmet
from qa_engine.rulesets.rule import LISTED_UNDER


def suggestion(score: Score) -> str:
    """Return lines to paste into the examples of a rule, each once, under their headings.

    They say what the rule does as it stands; whether that is meant, only its writer can tell.
    """
    chosen = list(_few(score))
    lines = [f"to pin down '{score.rule.rule}', add those of these examples that are meant so:"]
    for under in LISTED_UNDER:
        mine = [one.line for one in chosen if one.under == under]
        lines += [f"      {under}:", *(f"        {line}" for line in mine)] if mine else []
    return "\n".join(lines)


def _few(score: Score) -> Iterator[Unmet]:
    """Yield witnesses until every demand is met, each time the one that meets most of the rest."""
    rest = list(score.unmet)
    while rest:
        best = max(rest, key=lambda one: sum(_meets(one, other) for other in rest))
        yield best
        rest = [one for one in rest if not _meets(best, one)]


def _meets(witness: Unmet, other: Unmet) -> bool:
    outcome = LISTED_UNDER[witness.under]
    return witness is other or other.demand.is_met_by(witness.witness, outcome)
