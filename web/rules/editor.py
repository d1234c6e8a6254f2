"""The editor: an edition is typed or handed in, looked at, and proposed."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid4

from flask import Blueprint, abort, redirect, render_template, request, url_for

from qa_engine.book import Submission
from qa_engine.book.adopting import as_written
from qa_engine.book.draft import LARGEST, MOST_RULES, Draft, draft_of, plain_text
from qa_engine.book.proposals import proposals_in
from qa_engine.book.proposing import propose
from qa_engine.errors import BookError, RuleSetError
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.language import translated
from qa_engine.web.office import now, office
from qa_engine.web.rules.roles import PROPOSERS
from qa_engine.web.rules.source import lines_around
from qa_engine.yaml_tree import Problem

pages = Blueprint("editor", __name__)

NO_FILE = "Choose a file first; what is in the editor stays as it is."
WHICH = (
    "A file is chosen as well. Nothing was proposed: take its text into the editor first, or press "
    "again to propose what is in the editor."
)
BAD_FILE = "The file could not be taken; what is in the editor stays as it was."
NO_REASON = "Say why this edition is proposed: who decides about it reads that."
NOTHING_WRONG = "Nothing is wrong in it. It is not proposed yet."


@dataclass(frozen=True)
class Typed:
    """What somebody typed into the editor."""

    text: str
    why: str
    key: str


@pages.get("/new")
@open_to(*PROPOSERS)
def start() -> str:
    """Show the editor, beginning with the edition or the proposal named, or where to begin."""
    name = request.args.get("from")
    if name is None:
        editions = {one.rule_set: one for one in office().lookout.state(now()).editions}
        return render_template("rules/start.html", editions=list(editions.values()))
    return _shown(Typed(_beginning(name), "", str(uuid4())))


@pages.post("/new")
@open_to(*PROPOSERS)
def typed() -> Any:
    """Look at what was typed, take the text of a file, or propose."""
    form = request.form
    text = plain_text(form.get("text", "").encode("utf-8", "replace")).decode()
    given = Typed(text, form.get("why", ""), key_of(form.get("key", "")))
    file = request.files.get("file")
    content = file.read(LARGEST + 1) if file and file.filename else None
    match form.get("do"):
        case "take":
            return _taken(given, content)
        case "propose" if content is not None:
            return _shown(given, says=translated(WHICH)), 409
        case "propose":
            return _proposed(given)
    return _looked_at(given)


def key_of(written: str) -> str:
    """Return the one-time key of a form."""
    try:
        return str(UUID(written))
    except ValueError:
        abort(400)


def _beginning(name: str) -> str:
    """Return the text to begin with: of an edition ``set/edition``, of a proposal, or none."""
    if not name:
        return ""
    editions = office().lookout.state(now()).editions
    texts = {f"{one.rule_set}/{one.edition}": as_written(one) for one in editions}
    texts |= {one.proposal: one.text for one in proposals_in(office().book)}
    if name not in texts:
        abort(404)
    return plain_text(texts[name].encode()).decode()


def _taken(given: Typed, content: bytes | None) -> Any:
    """Show the editor with the text of a file in it, and what is wrong in that."""
    if content is None:
        return _shown(given, says=translated(NO_FILE)), 422
    try:
        text = plain_text(content).decode()
    except UnicodeDecodeError:
        text = None
    if text is None or len(content) > LARGEST:
        return _shown(given, _problems(content), says=translated(BAD_FILE)), 422
    return _looked_at(Typed(text, given.why, given.key))


def _problems(content: bytes) -> tuple[Problem, ...]:
    try:
        _draft(content)
    except RuleSetError as error:
        return tuple(one for one in error.problems if isinstance(one, Problem))
    return ()


def _draft(content: bytes) -> Draft:
    state = office().lookout.state(now())
    return draft_of(content, state.editions, state.inspection.catalogue)


def _looked_at(given: Typed) -> Any:
    problems = _problems(given.text.encode())
    if problems:
        return _shown(given, problems), 422
    return _shown(given, says=translated(NOTHING_WRONG), well=True)


def _proposed(given: Typed) -> Any:
    if not given.why.strip():
        return _shown(given, _problems(given.text.encode()), says=translated(NO_REASON)), 422
    try:
        draft = _draft(given.text.encode())
        by = Submission(given.key, now(), signed_in().person, source="web")
        id_ = propose(office().book, draft, given.why, by)
    except RuleSetError as error:
        return _shown(given, tuple(p for p in error.problems if isinstance(p, Problem))), 422
    except BookError as error:
        return _shown(given, says=str(error)), 422
    return redirect(url_for("rules.proposals.one", proposal=id_), 303)


def _shown(
    given: Typed,
    problems: tuple[Problem, ...] = (),
    *,
    says: str | None = None,
    well: bool = False,
) -> str:
    return render_template(
        "rules/editor.html",
        given=given,
        problems=problems,
        lines=lines_around(given.text, problems),
        says=says,
        well=well,
        largest=LARGEST // 1024,
        most_rules=MOST_RULES,
    )
