"""The rule files that plugins offer."""

from importlib.resources.abc import Traversable

from qa_engine.plugin_host import PluginHost
from qa_engine.yaml_tree import LARGEST_FILE


def offered(host: PluginHost) -> list[tuple[str, bytes]]:
    """Return the rule files that plugins offer, in the order of plugins and names."""
    return [
        (f"{plugin}:{file.name}", beginning_of(file))
        for plugin, folder in host.rule_folders
        for file in sorted(_yaml_files(folder), key=lambda one: one.name)
    ]


def _yaml_files(folder: Traversable) -> list[Traversable]:
    return [file for file in folder.iterdir() if file.name.endswith(".yaml")]


def beginning_of(file: Traversable) -> bytes:
    """Return what a file holds, of one that is too large only enough to tell."""
    with file.open("rb") as stream:
        return stream.read(LARGEST_FILE + 1)
