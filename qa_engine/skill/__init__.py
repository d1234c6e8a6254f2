"""Skill: forecasts made in hindsight, from what was known then, held against what happened."""

from qa_engine.skill.replay import Check, Row, check_history
from qa_engine.skill.rinses_left import rinses_left
from qa_engine.skill.score import LEAST_CHARGES, SHARES, Cases, Score, rated_rinses, score_of

__all__ = [
    "LEAST_CHARGES",
    "SHARES",
    "Cases",
    "Check",
    "Row",
    "Score",
    "check_history",
    "rated_rinses",
    "rinses_left",
    "score_of",
]
