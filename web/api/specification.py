"""The specification of the calls (OpenAPI 3.1), made from the calls and their schemas."""

import re
from collections.abc import Iterator
from http import HTTPStatus
from typing import Any

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.openapi import OpenAPIConverter
from flask import Flask
from marshmallow import Schema
from werkzeug.routing import Rule

import qa_engine
from qa_engine.fields import LONGEST_ID
from qa_engine.records import KINDS
from qa_engine.web.access import access_of
from qa_engine.web.api.adding import KEY
from qa_engine.web.api.bodies import LINES, LIST
from qa_engine.web.api.calls import Call
from qa_engine.web.api.problems import PROBLEM, Problem
from qa_engine.web.api.record_fields import record_property

ABOUT = (
    "Records go in by the same door as files, and what the rules say of them comes out. Amounts "
    "are in the units that each field names, metric throughout; instants are in UTC. The engine "
    "records, reminds and flags; it approves no vessel. Data plates, local codes and competent "
    "persons decide."
)
ANY_CALL = (401, 403, 422, 429, 500)
TOKEN, SESSION = "token", "session"


class RecordConverter(OpenAPIConverter):
    """Converts schemas, and knows what the fields of records take."""

    def init_attribute_functions(self) -> None:
        super().init_attribute_functions()  # type: ignore[no-untyped-call]
        self.attribute_functions.append(record_property)


class Schemas(MarshmallowPlugin):
    """Makes the specification's schemas from those of the code."""

    Converter = RecordConverter


def specification(app: Flask) -> dict[str, Any]:
    """Return the specification of every call that an app has."""
    spec = APISpec(
        title="Calls of QA Engine",
        version=qa_engine.__version__,
        openapi_version="3.1.0",
        info={"description": ABOUT},
        plugins=[Schemas(schema_name_resolver=_name_of)],
    )
    _add_components(spec)
    for rule, promise in calls_of(app):
        _add_call(spec, app, rule, promise)
    return spec.to_dict()


def calls_of(app: Flask) -> Iterator[tuple[Rule, Call]]:
    """Yield every call of an app, in the order of their paths."""
    for rule in sorted(app.url_map.iter_rules(), key=lambda rule: rule.rule):
        promise = getattr(app.view_functions[rule.endpoint], "promise", None)
        if promise is not None:
            yield rule, promise


def path_of(rule: Rule) -> str:
    """Return the path of a call as a specification writes it."""
    return re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule)


def _name_of(schema: Any) -> str:
    kind = schema if isinstance(schema, type) else type(schema)
    return str(kind.__name__).removesuffix("Told")


def _add_components(spec: APISpec) -> None:
    spec.components.security_scheme(TOKEN, {"type": "http", "scheme": "bearer"})
    cookie = {"type": "apiKey", "in": "cookie", "name": "qa"}
    spec.components.security_scheme(SESSION, cookie)
    for kind in KINDS.values():
        spec.components.schema(kind.schema.__name__, schema=kind.schema)
    kinds = [kind.schema.__name__ for kind in KINDS.values()]
    spec.components.schema("AnyRecord", {"anyOf": [_reference(name) for name in kinds]})


def _reference(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


def _add_call(spec: APISpec, app: Flask, rule: Rule, promise: Call) -> None:
    access = access_of(app, rule.endpoint)
    view = app.view_functions[rule.endpoint]
    operation = {
        "operationId": view.__name__,
        "summary": (view.__doc__ or "").partition("\n")[0],
        "parameters": list(_parameters(rule, promise)),
        "responses": dict(_responses(promise)),
        "security": [{TOKEN: [access.scope if access else None]}, {SESSION: []}],
        "x-roles": list(access.roles if access else ()),
    }
    if promise.adds:
        operation["requestBody"] = _body()
    spec.path(path_of(rule), operations={"post" if promise.adds else "get": operation})


def _parameters(rule: Rule, promise: Call) -> Iterator[dict[str, Any]]:
    for name in sorted(rule.arguments):
        text = {"type": "string", "minLength": 1}
        yield {"in": "path", "name": name, "required": True, "schema": text}
    if promise.takes().fields:
        yield {"in": "query", "schema": promise.takes}
    if promise.adds:
        text = {"type": "string", "minLength": 1, "maxLength": LONGEST_ID}
        about = "Your own key of this submission, such as a UUID; or 'key' in the body."
        yield {"in": "header", "name": KEY, "schema": text, "description": about}


def _responses(promise: Call) -> Iterator[tuple[str, dict[str, Any]]]:
    for status in promise.given:
        yield str(status), _response(status, "application/json", promise.gives)
    for status in sorted({*ANY_CALL, *promise.refuses}):
        yield str(status), _response(status, PROBLEM, Problem)


def _response(status: int, media: str, schema: type[Schema]) -> dict[str, Any]:
    return {"description": HTTPStatus(status).phrase, "content": {media: {"schema": schema}}}


def _body() -> dict[str, Any]:
    some = {"type": "array", "items": _reference("AnyRecord"), "minItems": 1}
    key = {"type": "string", "minLength": 1, "maxLength": LONGEST_ID}
    keyed = {
        "type": "object",
        "properties": {"key": key, "records": some},
        "required": ["records"],
        "additionalProperties": False,
    }
    lines = {"type": "string", "description": "One record in JSON on each line."}
    listed = {"schema": {"anyOf": [_reference("AnyRecord"), some, keyed]}}
    return {"required": True, "content": {LIST: listed, LINES: {"schema": lines}}}
