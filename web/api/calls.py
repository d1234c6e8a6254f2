"""What a call is: a view that says what it takes and what it gives, for programs."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import wraps
from typing import Any

from flask import Blueprint, Response, jsonify, request
from marshmallow import RAISE, Schema, ValidationError

from qa_engine.web.access import open_to
from qa_engine.web.accounts import ROLES
from qa_engine.web.api.problems import address_of
from qa_engine.web.faults import Refusal
from qa_engine.web.hardening import pace

VERSION = "v1"
pages = Blueprint("api", __name__, url_prefix=f"/api/{VERSION}")

View = Callable[..., Any]
Question = dict[str, Any]
"""What a program asked after the ``?``, as the call's schema loaded it."""


class Nothing(Schema):
    """A call that takes no question."""

    class Meta:
        unknown = RAISE


@dataclass(frozen=True)
class Call:
    """What a call promises; the specification is made from it.

    Attributes:
        gives: the schema of the answer.
        takes: the schema of what may stand after the ``?``.
        given: the statuses of its answers.
        refuses: statuses of its refusals, besides those that any call may give.
        adds: whether it takes records.
    """

    gives: type[Schema]
    takes: type[Schema] = Nothing
    given: tuple[int, ...] = (200,)
    refuses: tuple[int, ...] = ()
    adds: bool = False


def call(
    path: str, promise: Call, *, roles: tuple[str, ...] = ROLES, scope: str = "read"
) -> Callable[[View], View]:
    """Make a view a call: it is asked with its loaded question, and gives what it promises."""

    def made(view: View) -> View:
        @wraps(view)
        def answered(**place: str) -> Response | tuple[Response, int]:
            pace()
            given = view(_question(promise.takes), **place)
            if isinstance(given, Response):
                return given
            told, status = given if isinstance(given, tuple) else (given, 200)
            return jsonify(promise.gives().dump(told)), status

        answered.promise = promise  # type: ignore[attr-defined]
        answered = open_to(*roles, scope=scope)(answered)
        pages.add_url_rule(
            path,
            view.__name__,
            answered,
            methods=["POST" if promise.adds else "GET"],
            merge_slashes=False,
        )
        return answered

    return made


def _question(takes: type[Schema]) -> Question:
    """Return what was asked, each thing once.

    Raises:
        Refusal: something is not as the schema wants it.
    """
    schema = takes()
    asked = {name: values if len(values) > 1 else values[0] for name, values in _asked().items()}
    try:
        loaded: Question = schema.load(asked)
    except ValidationError as error:
        raise _refused(error.messages_dict, asked, schema) from None
    return loaded


def _asked() -> dict[str, list[str]]:
    return dict(request.args.lists())


def _refused(wrong: Mapping[str, Any], asked: Mapping[str, Any], schema: Schema) -> Refusal:
    known = ", ".join(schema.fields) or "none"
    problems = [
        {
            "row": None,
            "record": None,
            "field": name,
            "written": str(asked.get(name, "")),
            "expected": " ".join(said) if name in schema.fields else f"one of: {known}",
        }
        for name, said in wrong.items()
    ]
    says = "Nothing was looked up: " + "; ".join(f"'{one}'" for one in wrong) + " is not taken."
    return Refusal(422, says, address_of("question-refused"), problems)
