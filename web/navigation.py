"""The places of the front end that whoever reads may go to."""

from dataclasses import dataclass

from flask import Flask, current_app, request, url_for

from qa_engine.web.access import access_of, who
from qa_engine.web.language import translated
from qa_engine.web.office import register

PLACES = (
    ("board.fleet", "Fleet"),
    ("log.choose", "Log"),
    ("findings.all_findings", "Findings"),
    ("actions.all_actions", "Actions"),
    ("rules.in_force", "Rules"),
    ("audit.overview", "Audit"),
    ("imports.choose", "Import"),
    ("messages.all_messages", "Messages"),
    ("people.all_people", "People"),
    ("people.me", "My account"),
)
"""The endpoint of each place and its name."""


@dataclass(frozen=True)
class Place:
    """A link to a place; ``here`` where the page belongs to it."""

    name: str
    address: str
    here: bool


def guide(app: Flask) -> None:
    """Let an app's templates show where one may go."""
    app.context_processor(_shown)
    app.jinja_env.globals.update(tank_address=tank_address, log_address=log_address)


def tank_address(tank: str) -> str:
    """Return the address of a tank's page."""
    return url_for("tanks.tank", tank=tank)


def log_address(kind: str, tank: str | None = None, van: str | None = None) -> str:
    """Return the address where a kind of record is logged, for a tank or van if one is named."""
    # Flask leaves what is None out of the address.
    return url_for("log.form", kind=kind, tank=tank, van=van)


def _shown() -> dict[str, object]:
    return {"places": _places(), "operator": register().operator, "who": who}


def _places() -> list[Place]:
    if who() is None:
        return []
    app: Flask = current_app._get_current_object()  # type: ignore[attr-defined]
    here = request.endpoint or ""
    return [
        Place(translated(name), url_for(endpoint), _noun(endpoint) == _noun(here))
        for endpoint, name in PLACES
        if endpoint in app.view_functions and _may(app, endpoint)
    ]


def _may(app: Flask, endpoint: str) -> bool:
    access = access_of(app, endpoint)
    return access is not None and access.admits(who())


def _noun(endpoint: str) -> str:
    noun, _, page = endpoint.partition(".")
    return f"{noun}.{page}" if noun == "people" else noun
