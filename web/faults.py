"""When something goes wrong: one page that says what, and what would do.

Programs get problem details (RFC 9457) instead, whatever it is that went wrong.
"""

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any
from urllib.parse import quote

from flask import Flask, current_app, json, render_template, request
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response

from qa_engine.errors import QAEngineError

SAYS = {
    400: "This form could not be taken. It may have been open for too long: load it again.",
    401: "Sign in first. What you wrote on this device is kept.",
    403: "Your account may not use this page.",
    404: "There is nothing at this address.",
    405: "This address does not take that.",
    413: "That is too large; a file may have 32 MB, what is typed into a form 500 kB. Split it.",
    415: "The body is of a kind that is not taken here.",
    429: "Too many tries. Wait a minute and try again.",
    500: "Something failed here. Nothing that was confirmed as saved is lost.",
}
TELLS = {
    400: "The request cannot be read. A POST by cookie also needs the header X-CSRFToken.",
    401: "No token or session that is good; send 'Authorization: Bearer' and a token.",
    403: "Neither the role nor the scope of the token allows this call.",
    429: "Too many calls in a minute; wait as long as Retry-After says.",
}
"""What programs are told where a page would speak of forms."""

PROGRAMS = "/api/"
PROBLEM = "application/problem+json"
KEPT_HEADERS = ("Allow", "Retry-After", "Accept")
NO_SORT = "about:blank"


class Refusal(HTTPException):
    """A refusal that can be told piece by piece.

    Args:
        status: the status of the answer.
        says: what is wrong, and what would do.
        sort: names the sort of problem; documented with the calls.
        problems: its pieces, as ``qa_engine.web.api.problems.Piece`` has them.
    """

    def __init__(
        self,
        status: int,
        says: str,
        sort: str = NO_SORT,
        problems: Sequence[Mapping[str, Any]] = (),
    ) -> None:
        super().__init__(says)
        self.code = status
        self.sort = sort
        self.problems = tuple(problems)


def tell_faults(app: Flask) -> None:
    """Let an app answer faults with a page, and programs with problem details (RFC 9457)."""
    app.register_error_handler(HTTPException, _refused)
    app.register_error_handler(QAEngineError, _wrong)
    app.register_error_handler(Exception, _failed)


def _refused(error: HTTPException) -> Any:
    if isinstance(error.response, Response):
        return error.response
    status = error.code or 500
    if status < 400:
        return error.get_response()
    answer = _answer_to(error, status)
    for name, value in error.get_headers():
        if name in KEPT_HEADERS:
            answer.headers[name] = value
    return answer


def _answer_to(error: HTTPException, status: int) -> Response:
    if isinstance(error, Refusal):
        return answered(status, str(error.description), error.sort, error.problems)
    words = TELLS if _is_program() else {}
    return answered(status, words.get(status) or SAYS.get(status) or error.name)


def _wrong(error: QAEngineError) -> Response:
    return answered(422, str(error))


def _failed(error: Exception) -> Response:
    current_app.logger.exception("a page failed", exc_info=error)
    return answered(500, SAYS[500])


def answered(
    status: int, says: str, sort: str = NO_SORT, problems: Sequence[Mapping[str, Any]] = ()
) -> Response:
    """Return an answer that says what is wrong, fit for whoever asked."""
    if _is_program():
        answer = _problem_details(status, says, sort, problems)
    else:
        answer = current_app.make_response(render_template("fault.html", says=says, status=status))
    answer.status_code = status
    return answer


def _is_program() -> bool:
    return request.path.startswith(PROGRAMS)


def _problem_details(
    status: int, says: str, sort: str, problems: Sequence[Mapping[str, Any]]
) -> Response:
    details = {
        "type": sort,
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": says,
        "instance": quote(request.path),
        "problems": list(problems),
    }
    answer: Response = current_app.response_class(json.dumps(details), content_type=PROBLEM)
    if status == HTTPStatus.UNAUTHORIZED:
        answer.headers["WWW-Authenticate"] = "Bearer"
    return answer
