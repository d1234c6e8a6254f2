"""Every loaded model held against the laws of the kit for developers, shown as text or JSON."""

import json
from collections.abc import Mapping

import click

from qa_engine.errors import PluginError
from qa_engine.plugin_host import PluginHost, installed_plugins, open_host

BROKEN = 1
"""Exit status when a model breaks a law."""

PLUGIN_FAILED = 3


def tell_contract(form: str) -> int:
    """Print which laws each loaded model breaks, and return the exit status.

    Raises:
        PluginError: what the kit is made of is not installed.
    """
    host = open_host(installed_plugins())
    broken = _breaches(host)
    text = _as_text(host, broken) if form == "text" else _as_json(host, broken)
    click.echo(text, nl=False)
    if host.wall.failures:
        return PLUGIN_FAILED
    return BROKEN if any(broken.values()) else 0


def _breaches(host: PluginHost) -> dict[str, list[str]]:
    """Return what is wrong with the model of each grade."""
    try:
        from qa_engine.testing import breaches_of_model
    except ModuleNotFoundError as error:
        raise PluginError(
            f"the kit that checks models needs the package '{error.name}'; install it with "
            "pip install hypothesis"
        ) from None
    return {
        grade: [str(breach) for breach in breaches_of_model(walled.model)]
        for grade, walled in host.models.items()
    }


def _as_text(host: PluginHost, broken: Mapping[str, list[str]]) -> str:
    lines = []
    for grade, breaches in broken.items():
        found = f"breaks {len(breaches)} of its laws" if breaches else "keeps every law"
        lines.append(f"{grade} ({host.models[grade].plugin}): {found}")
        lines += [f"  {line}" for breach in breaches for line in breach.splitlines()]
    lines += [f"plugin {name} failed: {why}" for name, why in host.wall.failures.items()]
    return "\n".join(lines or ["No model is loaded."]) + "\n"


def _as_json(host: PluginHost, broken: Mapping[str, list[str]]) -> str:
    models = [
        {"grade": grade, "plugin": host.models[grade].plugin, "broken": breaches}
        for grade, breaches in broken.items()
    ]
    told = {"models": models, "plugins_failed": host.wall.failures}
    return json.dumps(told, ensure_ascii=False, indent=2) + "\n"
