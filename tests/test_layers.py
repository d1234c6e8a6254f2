"""The architecture: a module imports only from layers below its own."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
LAYERS = (
    ("errors",),
    ("units", "fields", "yaml_tree", "water", "breakthrough", "probability", "uncertainty"),
    ("records", "register"),
    ("history", "charges"),
    ("depletion", "facts", "hookspecs"),
    ("conditions", "rulesets", "conformity", "decision_risk", "wording", "asking", "plain_words"),
    ("plugin_host", "plugin_wall", "permissions", "proof", "subjects", "judging", "blocks"),
    ("rule_offers",),
    ("testing",),
    ("runs", "doubt", "findings", "certainty", "due", "coverage", "closing", "lifecycle"),
    ("inspection", "preview", "skill"),
    ("forecast",),
    ("intake", "report", "explanation", "belief"),
    ("book",),
    ("messages", "audit"),
    ("demo",),
    ("cli", "web"),
)
"""Lowest first; modules of one layer may use each other, but not in a circle."""

PLUGIN_FACE = (
    "hookspecs",
    "facts",
    "depletion",
    "water",
    "breakthrough",
    "history",
    "units",
    "errors",
    "rules",
)
"""What plugins may import of the engine."""

LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}
ONLY = {
    "flask": ("web",),
    "yaml": ("yaml_tree",),
    "click": ("cli",),
    "rich": ("cli", "report"),
    "pluggy": ("hookspecs", "plugin_host"),
    "pint": ("units",),
    "hypothesis": ("testing",),
    "sqlalchemy": ("audit", "book", "messages", "web"),
    "cryptography": ("book", "cli"),
    "python_calamine": ("intake",),
    "typst": ("audit",),
}
"""Libraries that only these parts of the engine may know."""


def sources() -> list[tuple[str, Path]]:
    """Every module of the engine with the part that it belongs to."""
    found = []
    for path in sorted((ROOT / "qa_engine").rglob("*.py")):
        part = path.relative_to(ROOT / "qa_engine").parts[0].removesuffix(".py")
        found.append((part, path))
    found += [("web", path) for path in sorted((ROOT / "web").rglob("*.py"))]
    return [(part, path) for part, path in found if part != "__init__"]


def imported(path: Path) -> set[str]:
    """Every dotted name that a module imports, also inside functions and type-checking blocks."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add(node.module or "")
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def caught(node: ast.expr) -> set[str]:
    """The names of the exceptions that a handler catches."""
    return {part.id for part in ast.walk(node) if isinstance(part, ast.Name)}


def parts_of(names: set[str]) -> set[str]:
    """The parts of the engine among imported names."""
    return {n.split(".")[1] for n in names if n.startswith("qa_engine.")} & set(LEVEL)


@pytest.mark.parametrize(
    ("part", "path"), sources(), ids=lambda value: getattr(value, "name", value)
)
def test_a_module_imports_only_from_its_own_layer_or_lower_ones(part, path):
    assert part in LEVEL, f"{path.name}: say in LAYERS where '{part}' belongs"
    higher = {used for used in parts_of(imported(path)) if LEVEL[used] > LEVEL[part]}
    assert not higher


@pytest.mark.parametrize("path", sorted((ROOT / "plugins").glob("*.py")), ids=lambda p: p.name)
def test_a_plugin_that_ships_uses_only_what_strangers_may_use(path):
    used = {n.split(".")[1] for n in imported(path) if n.startswith("qa_engine.")}
    assert used <= set(PLUGIN_FACE)


def test_nothing_imports_plugins_since_the_host_loads_them_by_name():
    named = [p for _, p in sources() if any(n.startswith("qa_engine.plugins") for n in imported(p))]
    assert named == []


@pytest.mark.parametrize("library", sorted(ONLY))
def test_a_library_is_known_only_where_it_belongs(library):
    users = {
        part for part, path in sources() if library in {n.split(".")[0] for n in imported(path)}
    }
    assert users <= set(ONLY[library])


def test_only_the_host_catches_whatever_may_be_raised():
    broad = [
        part
        for part, path in sources()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ExceptHandler)
        and (node.type is None or caught(node.type) & {"Exception", "BaseException"})
    ]
    assert broad == ["plugin_wall"]
