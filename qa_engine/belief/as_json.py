"""A belief as JSON: the same numbers in full, units in the names."""

import json
from dataclasses import asdict
from typing import Any

from qa_engine.belief.whole import Told
from qa_engine.facts.learnt_account import Account
from qa_engine.wording import rfc3339

VERSION = 1


def belief_json(told: Told) -> str:
    """Return what is told as JSON text, the same text for the same belief."""
    data: dict[str, Any] = {"belief": VERSION, "tank": told.tank, "why_not": told.why_not}
    if told.account:
        data |= _account(told.account)
        data |= {
            "load_eq_l": asdict(told.load) if told.load else None,
            "outlet_mg_l": asdict(told.outlet) if told.outlet else None,
            "readings_to_take": [asdict(one) for one in told.readings],
            "validity": told.account.grade.validity,
            "bounds": [asdict(bound) | {"within": bound.within} for bound in told.bounds],
        }
    return json.dumps(data, ensure_ascii=False, indent=2) + "\n"


def _account(account: Account) -> dict[str, Any]:
    grade = account.grade
    return {
        "charge": account.charge,
        "at": rfc3339(account.at),
        "grade": grade.name,
        "capacity_source": grade.capacity.source,
        "sharpness": asdict(grade.sharpness),
        "source": account.source,
        "inlet": account.inlet,
        "resin_l": account.resin_l,
        "spent_eq": account.spent_eq,
        "prior_eq_l": asdict(account.prior),
        "learnt_from": list(account.learnt_from),
        "readings": [
            row | {"at": rfc3339(row["at"])} for row in account.readings.iter_rows(named=True)
        ],
        "capacity_eq_l": asdict(account.capacity),
    }
