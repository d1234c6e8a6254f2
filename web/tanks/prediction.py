"""Where the prediction of a tank comes from: the water, what was believed, what readings moved."""

from flask import Blueprint, abort, render_template

from qa_engine.belief import Told, told_of
from qa_engine.belief.as_text import belief_text
from qa_engine.errors import QAEngineError
from qa_engine.inspection import Course, with_what_works
from qa_engine.plugin_host import installed_plugins
from qa_engine.web.access import open_to
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import now, office
from qa_engine.web.tanks.figures import assignment_of

pages = Blueprint("prediction", __name__)


@pages.get("/<path:tank>/prediction")
@open_to(*ROLES)
def prediction(tank: str) -> str:
    """Show where the prediction of a tank comes from."""
    state = office().lookout.state(now())

    def work(course: Course) -> Told:
        return told_of(course.past(course.history), tank)

    try:
        told = with_what_works(assignment_of(tank, state), installed_plugins(), lambda _: (), work)
    except QAEngineError:
        abort(404)
    text = belief_text(told, state.register.zone)
    return render_template("tanks/prediction.html", tank=tank, told=told, text=text, state=state)
