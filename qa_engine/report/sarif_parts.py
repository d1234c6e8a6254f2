"""Small parts of a SARIF log: messages, places of files, places in the fleet.

Source: Static Analysis Results Interchange Format (SARIF) Version 2.1.0 Plus Errata 01, OASIS
Standard, 28 August 2023; sections are named where something follows from one.
"""

from typing import Any
from urllib.parse import quote

LEVELS = {"major": "error", "minor": "warning", "advice": "note"}
"""The level of a failure by its grading (3.27.10); whatever is no failure has the level none."""


def message(text: str, **more: Any) -> dict[str, Any]:
    """Return a message that says a text and nothing else.

    Braces are doubled, since single ones are placeholders (3.11.5), and nothing is left that a
    viewer would take for an embedded link (3.11.6).
    """
    plain = text.replace("{", "{{").replace("}", "}}").replace("](", "] (")
    return {"text": plain, **more}


def stated(**members: Any) -> dict[str, Any]:
    """Return an object with those members that have a value."""
    return {name: value for name, value in members.items() if value not in (None, "", (), [])}


def file_place(source: str) -> dict[str, Any]:
    """Return where a file is: as given, or by its name relative to the plugin that brought it."""
    plugin, colon, name = source.partition(":")
    if colon and plugin.isidentifier() and len(plugin) > 1 and "/" not in name:
        return {"uri": quote(name), "uriBaseId": plugin}
    path = source.replace("\\", "/")
    drive = len(path) > 1 and path[1] == ":"
    return {"uri": f"file:///{quote(path, safe='/:')}" if drive else _path_uri(path)}


def _path_uri(path: str) -> str:
    return f"file://{quote(path)}" if path.startswith("/") else quote(path)


def file_line(source: str, line: int) -> dict[str, Any]:
    """Return a line of a file as a physical location."""
    return {"artifactLocation": file_place(source), "region": {"startLine": line}}


def fleet_place(kind: str, item: str, van: str | None, tank: str | None) -> dict[str, Any]:
    """Return a tank, van, meter, base or source as a logical location (3.33)."""
    if tank is not None:
        within = f"{van}/" if van is not None else ""
        return {"name": tank, "fullyQualifiedName": f"{within}{tank}", "kind": "tank"}
    return {"name": item, "fullyQualifiedName": item, "kind": kind}
