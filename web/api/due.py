"""What falls due."""

from typing import Any

import polars as pl
from marshmallow import fields
from marshmallow.validate import Length

from qa_engine.due import SCHEMA
from qa_engine.fields import LONGEST_ID
from qa_engine.web.api.answers import schema_of
from qa_engine.web.api.calls import Call, Question, call
from qa_engine.web.api.paging import Paged, PageOf, page_of
from qa_engine.web.office import now, office

TOLD = {
    "subject_kind": "A kind of record, or charge, tank, van, meter, base.",
    "subject": "The id of what will be judged.",
    "falls_due": "The day from which the rule is no longer met if nothing is done.",
}
FILLED = ("rule_set", "rule", "title", "subject_kind", "subject", "falls_due")
Duty = schema_of("Duty", SCHEMA, TOLD, FILLED)


class DueAsked(Paged):
    """Which duties are wanted."""

    tank = fields.String(
        validate=Length(max=LONGEST_ID), metadata={"description": "Only those of this tank."}
    )
    van = fields.String(
        validate=Length(max=LONGEST_ID), metadata={"description": "Only those of this van."}
    )


class Due(PageOf):
    """A page of what falls due, the first day first."""

    due = fields.List(fields.Nested(Duty))


@call("/due", Call(Due, DueAsked))
def due(asked: Question) -> dict[str, Any]:
    """Read what falls due, the first day first."""
    state = office().lookout.state(now())
    wanted = [pl.col(name) == asked[name] for name in ("tank", "van") if name in asked]
    rows = state.due.filter(pl.lit(value=True), *wanted)
    name = pl.concat_str("rule_set", "rule", "subject", separator="/")
    page = page_of(rows, name, asked)
    return {**page.told(state), "due": page.rows.to_dicts()}
