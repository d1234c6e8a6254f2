"""The calls described: for programs as a specification, for people as a page made from it."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from flask import Flask, Response, current_app, jsonify, render_template

from qa_engine.records import KINDS
from qa_engine.web.access import ANYONE, open_to
from qa_engine.web.accounts import ROLES
from qa_engine.web.api.calls import pages
from qa_engine.web.api.problems import SORTS
from qa_engine.web.api.specification import specification
from qa_engine.web.hardening import CALLS

EXTENSION = "specification of calls"
Part = dict[str, Any]


@dataclass(frozen=True)
class Operation:
    """A call as the page shows it, with the fields of its answer."""

    method: str
    path: str
    about: Part
    parameters: tuple[Part, ...]
    gives: str
    members: tuple[Part, ...]

    @property
    def scope(self) -> str:
        """Return the scope that a token needs."""
        return str(self.about["security"][0]["token"][0])


@pages.get("/openapi.json")
@open_to(ANYONE)
def openapi() -> Response:
    """Give the specification of the calls."""
    return jsonify(_specification())


@pages.get("/")
@open_to(*ROLES)
def described() -> str:
    """Show the calls that programs may make."""
    spec = _specification()
    schemas = spec["components"]["schemas"]
    kinds = {name: _members(schemas[kind.schema.__name__]) for name, kind in KINDS.items()}
    return render_template(
        "api/calls.html",
        about=spec["info"]["description"],
        operations=list(_operations(spec)),
        parts=dict(_parts(spec)),
        kinds=kinds,
        sorts=SORTS,
        most=CALLS.amount,
    )


def _specification() -> Part:
    app: Flask = current_app._get_current_object()  # type: ignore[attr-defined]
    if EXTENSION not in app.extensions:
        app.extensions[EXTENSION] = specification(app)
    found: Part = app.extensions[EXTENSION]
    return found


def _operations(spec: Part) -> Iterator[Operation]:
    for path, methods in spec["paths"].items():
        for method, about in methods.items():
            given = next(iter(about["responses"].values()))
            (content,) = given["content"].values()
            name = content["schema"]["$ref"].rpartition("/")[2]
            members = _members(spec["components"]["schemas"][name])
            yield Operation(method.upper(), path, about, _parameters(about), name, members)


def _parts(spec: Part) -> Iterator[tuple[str, tuple[Part, ...]]]:
    """Yield what answers are made of: schemas of objects that are no answer and no record."""
    records = {kind.schema.__name__ for kind in KINDS.values()}
    answers = {operation.gives for operation in _operations(spec)}
    for name, schema in spec["components"]["schemas"].items():
        if "properties" in schema and name not in records | answers:
            yield name, _members(schema)


def _parameters(about: Part) -> tuple[Part, ...]:
    """Return what a call takes in its address and headers, each with its type for reading."""
    return tuple(
        {"type": _type(one["schema"]), "enum": one["schema"].get("enum"), **one}
        for one in about["parameters"]
    )


def _members(schema: Part) -> tuple[Part, ...]:
    """Return the members of an object with their names and types, for reading."""
    wanted = schema.get("required", [])
    return tuple(
        {"name": name, "type": _type(part), "required": name in wanted, **part}
        for name, part in schema["properties"].items()
    )


def _type(part: Part) -> str:
    if "$ref" in part:
        return str(part["$ref"]).rpartition("/")[2]
    if "const" in part:
        return str(part["const"])
    if "anyOf" in part:
        return " or ".join(_type(one) for one in part["anyOf"])
    types = part.get("type", "any")
    if types == "array":
        return f"list of {_type(part['items'])}"
    return " or ".join(types) if isinstance(types, list) else str(types)
