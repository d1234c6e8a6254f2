"""A replay as JSON: the same figures, unrounded, for a spreadsheet or a chart."""

import json

from qa_engine.skill.replay import Check, Row
from qa_engine.skill.score import LEAST_CHARGES
from qa_engine.wording import rfc3339


def check_json(check: Check) -> str:
    """Return a replay as JSON text; shares as numbers from 0 to 1."""
    told = {
        "as_of": rfc3339(check.as_of),
        "limit": {"value": check.limit_mg_l, "unit": "mg/L"},
        "charges": check.charges,
        "scored": check.used,
        "left_out": check.left_out,
        "least_charges": LEAST_CHARGES,
        "rows": [_row(row) for row in check.rows],
    }
    return json.dumps(told, ensure_ascii=False, indent=2) + "\n"


def _row(row: Row) -> dict[str, object]:
    score = row.score
    return {
        "grade": row.grade,
        "share_of_life": row.share,
        "charges": row.charges,
        "median_error": score.error if score else None,
        "within_interval": score.within if score else None,
        "coverage": score.coverage if score else None,
        "median_error_by_rule_of_thumb": score.by_rule if score else None,
        "lower_by": score.lower if score and score.by_rule > 0 else None,
    }
