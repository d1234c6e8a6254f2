"""When something goes wrong: one page that says what, and what would do."""

from typing import Any

from flask import Flask, current_app, jsonify, render_template, request
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response

from qa_engine.errors import QAEngineError

SAYS = {
    400: "This form could not be taken. It may have been open for too long: load it again.",
    401: "Sign in first. What you wrote on this device is kept.",
    403: "Your account may not use this page.",
    404: "There is nothing at this address.",
    405: "This address does not take that.",
    413: "That is too large to take in one go; 32 MB is the most.",
    415: "The body is of a kind that is not taken here.",
    429: "Too many tries. Wait a minute and try again.",
    500: "Something failed here. Nothing that was confirmed as saved is lost.",
}
PROBLEM = "application/problem+json"


def tell_faults(app: Flask) -> None:
    """Let an app answer faults with a page, and programs with problem details (RFC 9457)."""
    app.register_error_handler(HTTPException, _refused)
    app.register_error_handler(QAEngineError, _wrong)
    app.register_error_handler(Exception, _failed)


def _refused(error: HTTPException) -> Any:
    if isinstance(error.response, Response):
        return error.response
    status = error.code or 500
    answer = answered(status, SAYS.get(status, error.description or error.name))
    for name, value in error.get_headers():
        if name == "Allow":
            answer.headers[name] = value
    return answer


def _wrong(error: QAEngineError) -> Response:
    return answered(422, str(error))


def _failed(error: Exception) -> Response:
    current_app.logger.exception("a page failed", exc_info=error)
    return answered(500, SAYS[500])


def answered(status: int, says: str) -> Response:
    """Return an answer that says what is wrong, fit for whoever asked."""
    if request.path.startswith("/api/"):
        problem = {"type": "about:blank", "title": says, "status": status}
        answer: Response = jsonify(problem)
        answer.content_type = PROBLEM
    else:
        answer = current_app.make_response(render_template("fault.html", says=says, status=status))
    answer.status_code = status
    return answer
