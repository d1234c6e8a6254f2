"""The audit: what was judged and what could not be, by what, and whether the book is whole."""

from dataclasses import dataclass
from typing import Any

from flask import Blueprint, render_template

from qa_engine.audit import choices, remarks_in
from qa_engine.audit.wholeness import latest_head
from qa_engine.book.breach import Breach
from qa_engine.book.lookout import FleetState
from qa_engine.book.verify import verify
from qa_engine.book.writing import head_of
from qa_engine.coverage import OUTCOMES
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.audit import heads, remarks, reports
from qa_engine.web.audit.asking import last_month
from qa_engine.web.audit.roles import READERS, WRITER
from qa_engine.web.entering import new_key
from qa_engine.web.hardening import brake
from qa_engine.web.office import now, office

pages = Blueprint("audit", __name__)
for part in (heads, remarks, reports):
    pages.register_blueprint(part.pages)


@dataclass(frozen=True)
class Contents:
    """What a record book is: its id, how many entries it has and the root of the tree over them."""

    id: str
    size: int
    root: str


@pages.get("/audit")
@open_to(*READERS)
def overview() -> str:
    """Show what an auditor asks for first."""
    return _page()


@pages.post("/audit")
@open_to(*READERS)
def verifying() -> str:
    """Verify the book and name each breach; it changes nothing."""
    brake("verify")
    return _page(verify(office().book))


def _page(breaches: list[Breach] | None = None) -> str:
    state = office().lookout.state(now())
    return render_template(
        "audit/audit.html",
        state=state,
        book=_contents(),
        signed=latest_head(office().book),
        breaches=breaches,
        checked_at=now(),
        outcomes=tuple(OUTCOMES),
        coverage=_coverage(state),
        totals={name: int(state.coverage[name].sum()) for name in OUTCOMES},
        choices=choices(state.register, {}, (one.rule_set for one in state.editions)),
        given={"period": last_month(state.register.zone)},
        remarks=remarks_in(office().book)[::-1],
        may_remark=signed_in().role == WRITER,
        key=new_key(),
    )


def _contents() -> Contents:
    book = office().book
    with book.reading() as held:
        frontier = head_of(held).frontier
    return Contents(book.about()["id"], frontier.size, frontier.root.hex())


def _coverage(state: FleetState) -> dict[str, list[dict[str, Any]]]:
    """Return the rows of the coverage by rule set."""
    found: dict[str, list[dict[str, Any]]] = {}
    titles = {(r.rule_set, r.rule, r.edition): r.title for e in state.editions for r in e.rules}
    for row in state.coverage.to_dicts():
        title = titles[row["rule_set"], row["rule"], row["edition"]]
        found.setdefault(row["rule_set"], []).append({**row, "title": title})
    return found
