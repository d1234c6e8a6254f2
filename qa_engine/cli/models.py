"""``qa-engine models``: the plugins that are loaded and the resin models they bring."""

import click
from rich.table import Table

from qa_engine.cli.models_check import check
from qa_engine.cli.models_explain import explain
from qa_engine.cli.models_new import new
from qa_engine.cli.output import console
from qa_engine.plugin_host import PluginHost, installed_plugins, open_host

SHOWN_DIGEST = 16


@click.group("models")
def command() -> None:
    """List the resin models that are loaded, check and explain them, or begin a new one."""


for one in (check, explain, new):
    command.add_command(one)


@command.command("list")
def list_models() -> None:
    """List every plugin: where it comes from, its version and digest, and what it brings."""
    host = open_host(installed_plugins())
    out = console()
    out.print(_plugins(host))
    out.print()
    out.print(_grades(host))
    raise SystemExit(3 if host.wall.failures else 0)


def _plugins(host: PluginHost) -> Table:
    table = Table("plugin", "version", "from", "sha256", "state", box=None, pad_edge=False)
    for plugin in host.plugins:
        state = f"failed: {plugin.reason}" if plugin.reason else plugin.state
        digest = plugin.sha256[:SHOWN_DIGEST]
        table.add_row(plugin.name, plugin.version, plugin.source, digest, state)
    return table


def _grades(host: PluginHost) -> Table:
    table = Table("grade", "bed", "capacity", "source", "plugin", box=None, pad_edge=False)
    for name, model in host.models.items():
        capacity = model.grade.capacity
        amount = f"{capacity.mean_eq_l:g} \u00b1 {capacity.sd_eq_l:g} eq/L"
        table.add_row(name, model.grade.bed, amount, capacity.source, model.plugin)
    return table
