"""Loads plugins one by one, each behind its own wall, and keeps account of what became of them.

A plugin that fails, at any time, is named with its reason; the rest goes on without it.
"""

import hashlib
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from importlib.metadata import EntryPoint, entry_points
from importlib.resources.abc import Traversable
from pathlib import Path
from types import ModuleType
from typing import Any

import pluggy
import polars as pl

from qa_engine import hookspecs
from qa_engine.depletion.model import Grade, ResinModel
from qa_engine.errors import PluginError
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import field_facts
from qa_engine.facts.fact import COLUMN_TYPES, EVENT_SUBJECTS, SUBJECTS, FactGroup
from qa_engine.facts.past import Past
from qa_engine.plugin_wall import Wall, WalledModel
from qa_engine.units import unit


@dataclass(frozen=True)
class Plugin:
    """A plugin, what it is made of, and whether it works.

    Attributes:
        name: the name of its entry point.
        version: the version of the package that brought it.
        source: the package or module it came from.
        sha256: digest over its source files, in the order of their names.
        state: ``loaded`` or ``failed``.
        reason: why it failed; None while it works.
    """

    name: str
    version: str
    source: str
    sha256: str
    state: str = "loaded"
    reason: str | None = None


@dataclass(frozen=True)
class PluginHost:
    """The plugins of an inspection and what they offer.

    Attributes:
        models: the resin models by the grade they speak for.
        groups: the facts that plugins offer.
        rule_folders: the folders with rule sets, each with the plugin that offers it.
    """

    found: tuple[Plugin, ...]
    models: dict[str, WalledModel]
    groups: tuple[FactGroup, ...]
    rule_folders: tuple[tuple[str, Traversable], ...]
    wall: Wall

    @property
    def plugins(self) -> tuple[Plugin, ...]:
        """Return every plugin with its state as of now, in the order of names."""
        failures = self.wall.failures
        return tuple(
            replace(p, state="failed", reason=failures[p.name]) if p.name in failures else p
            for p in self.found
        )


def installed_plugins() -> tuple[EntryPoint, ...]:
    """Return the entry points of all installed plugins, in the order of their names."""
    found = entry_points(group=hookspecs.PROJECT)
    return tuple(sorted(found, key=lambda entry: (entry.name, entry.value)))


def open_host(
    entries: Iterable[EntryPoint],
    failed: Mapping[str, str] | None = None,
    traces: Mapping[str, str] | None = None,
) -> PluginHost:
    """Load plugins and gather what they offer.

    Args:
        entries: the entry points to load.
        failed: plugins that failed before, with the reason; they are named but not used.
        traces: where in their code they failed.
    """
    wall = Wall(dict(failed or {}), dict(traces or {}))
    entries = sorted(entries, key=lambda entry: (entry.name, entry.value))
    for name in _named_twice(entries):
        wall.note(name, "two installed plugins have this name; rename or remove one")
    loaded = {e.name: module for e in entries if (module := _load(e, wall)) is not None}
    models, groups, folders = _Offers(wall).gather(loaded)
    found = tuple(_described(entry, loaded.get(entry.name)) for entry in entries)
    return PluginHost(found, models, groups, folders, wall)


def _named_twice(entries: Sequence[EntryPoint]) -> list[str]:
    names = [entry.name for entry in entries]
    return sorted({name for name in names if names.count(name) > 1})


def _load(entry: EntryPoint, wall: Wall) -> object | None:
    if entry.name in wall.failures:
        return None
    module = wall.ask(entry.name, f"loading {entry.value}", entry.load)
    if module is None and entry.name not in wall.failures:
        wall.note(entry.name, f"loading {entry.value}: it is None")
    return None if module is None or not _fits(entry.name, module, wall) else module


def _fits(name: str, module: object, wall: Wall) -> bool:
    """Tell whether the hooks of a plugin have the names and arguments that the manual states."""

    def register() -> bool:
        manager = pluggy.PluginManager(hookspecs.PROJECT)
        manager.add_hookspecs(hookspecs)
        manager.register(module, name)
        manager.check_pending()
        return True

    return bool(wall.ask(name, "hooks", register, False))


@dataclass
class _Offers:
    """Calls the hooks of one plugin after the other and refuses what clashes."""

    wall: Wall

    def gather(
        self, loaded: dict[str, object]
    ) -> tuple[dict[str, WalledModel], tuple[FactGroup, ...], tuple[tuple[str, Traversable], ...]]:
        models = [
            (name, model)
            for name, module in loaded.items()
            for model in self._call(name, module, "qa_resin_models", ResinModel)
        ]
        groups = [
            (name, group)
            for name, module in loaded.items()
            for group in self._call(name, module, "qa_facts", FactGroup)
        ]
        folders = [
            (name, folder)
            for name, module in loaded.items()
            for folder in self._call(name, module, "qa_rule_folders", Traversable)
        ]
        return self._by_grade(models), self._walled(groups), self._working(folders)

    def _call(self, name: str, module: object, hook: str, wanted: type) -> list[Any]:
        function = getattr(module, hook, None)
        if function is None or name in self.wall.failures:
            return []

        def checked() -> list[Any]:
            offered = list(function())
            for one in offered:
                if not isinstance(one, wanted):
                    raise PluginError(f"offered {one!r}, expected {wanted.__name__}")
            return offered

        offers: list[Any] = self.wall.ask(name, hook, checked, [])
        return offers

    def _by_grade(self, models: list[tuple[str, ResinModel]]) -> dict[str, WalledModel]:
        grades: dict[str, list[tuple[str, ResinModel]]] = {}
        for plugin, model in models:
            grade = self.wall.ask(plugin, "grade", partial(getattr, model, "grade"))
            if isinstance(grade, Grade):
                grades.setdefault(grade.name, []).append((plugin, model))
            else:
                self.wall.note(plugin, f"grade: offered {grade!r}, expected a Grade")
        for name, offers in grades.items():
            if len(offers) > 1:
                speakers = ", ".join(sorted(plugin for plugin, _ in offers))
                for plugin, _ in offers:
                    self.wall.note(plugin, f"several models for grade '{name}': {speakers}")
        return {
            name: WalledModel(offers[0][1], offers[0][0], self.wall)
            for name, offers in sorted(grades.items())
            if not any(plugin in self.wall.failures for plugin, _ in offers)
        }

    def _walled(self, groups: list[tuple[str, FactGroup]]) -> tuple[FactGroup, ...]:
        taken = _taken_already()
        walled = []
        for plugin, group in groups:
            names = {(subject, fact.name) for subject in group.subjects for fact in group.facts}
            if unknown := sorted(set(group.subjects) - set(SUBJECTS)):
                self.wall.note(plugin, f"facts for unknown subjects: {', '.join(unknown)}")
            elif not self.wall.ask(plugin, "units of facts", partial(_units_known, group), False):
                continue
            elif clash := sorted(names & taken):
                self.wall.note(plugin, f"fact '{clash[0][1]}' of {clash[0][0]} exists already")
            else:
                taken |= names
                walled.append(replace(group, provider=plugin, find=self._wall_in(plugin, group)))
        return tuple(group for group in walled if group.provider not in self.wall.failures)

    def _wall_in(
        self, plugin: str, group: FactGroup
    ) -> Callable[[pl.DataFrame, Past], pl.DataFrame]:
        types = {fact.name: COLUMN_TYPES[fact.type] for fact in group.facts}

        def find(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
            nothing = _nothing(types, subjects.height)
            asked = f"facts {', '.join(types)}"
            answer: pl.DataFrame = self.wall.ask(
                plugin,
                asked,
                lambda: checked_facts(group.find(subjects, past), types, subjects),
                nothing,
            )
            return answer

        return find

    def _working(
        self, folders: list[tuple[str, Traversable]]
    ) -> tuple[tuple[str, Traversable], ...]:
        return tuple((name, f) for name, f in folders if name not in self.wall.failures)


def _units_known(group: FactGroup) -> bool:
    """Return True if every number of a group has a unit of the list, and nothing else has one.

    Raises:
        UnitError: a unit is not on the list.
        PluginError: a number has no unit, or something else has one.
    """
    for fact in group.facts:
        if (fact.type == "number") is (fact.unit is None):
            raise PluginError(
                f"fact '{fact.name}': numbers have a unit ('1' if none), others do not"
            )
        if fact.unit is not None:
            unit(fact.unit)
    return True


def _taken_already() -> set[tuple[str, str]]:
    """Return the subjects and names of the facts that the engine itself finds."""
    groups = (*map(field_facts, EVENT_SUBJECTS), *ENGINE_FACTS)
    return {(s, fact.name) for group in groups for s in group.subjects for fact in group.facts}


def _nothing(types: dict[str, pl.DataType], height: int) -> pl.DataFrame:
    return pl.DataFrame(
        [pl.Series(name, [None], dtype).new_from_index(0, height) for name, dtype in types.items()]
    )


def checked_facts(
    found: pl.DataFrame, types: dict[str, pl.DataType], subjects: pl.DataFrame
) -> pl.DataFrame:
    """Return a plugin's facts if they are of the kind it declared.

    Raises:
        PluginError: rows or columns are missing, a type is wrong, or a number is NaN or infinite.
    """
    if not isinstance(found, pl.DataFrame):
        raise PluginError(f"returned {type(found).__name__}, expected a polars DataFrame")
    if found.height != subjects.height:
        raise PluginError(f"returned {found.height} rows for {subjects.height} subjects")
    if missing := [name for name in types if name not in found.columns]:
        raise PluginError(f"returned no column '{missing[0]}'")
    cast = found.with_columns(pl.col(name).cast(dtype) for name, dtype in types.items())
    numbers = [name for name, dtype in types.items() if dtype == pl.Float64()]
    if any(not cast[name].drop_nulls().is_finite().all() for name in numbers):
        raise PluginError("returned NaN or infinity; what is unknown must be null")
    return cast


def _described(entry: EntryPoint, module: object | None) -> Plugin:
    version = entry.dist.version if entry.dist else "unknown"
    source = f"{entry.dist.name} ({entry.value})" if entry.dist else entry.value
    return Plugin(entry.name, version, source, source_digest(_module_of(entry, module)))


def _module_of(entry: EntryPoint, module: object | None) -> ModuleType | None:
    if isinstance(module, ModuleType):
        return module
    return sys.modules.get(entry.module)


def source_digest(module: ModuleType | None) -> str:
    """Return the SHA-256 over a module's source files, or over a package's; empty if unknown."""
    place = getattr(module, "__file__", None)
    if place is None:
        return ""
    start = Path(place)
    files = sorted(start.parent.rglob("*.py")) if start.name == "__init__.py" else [start]
    digest = hashlib.sha256()
    for file in files:
        digest.update(file.name.encode() + b"\0" + file.read_bytes() + b"\0")
    return digest.hexdigest()
