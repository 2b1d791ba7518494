"""Data goes one way: a module imports only from what stands left of it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "diagnose"
MODULES = {
    ".".join(p.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__"): p
    for p in PACKAGE.rglob("*.py")
}
ONLY = {
    "yaml": {"diagnose.knowledge.yaml_file"},
    "experta": {"diagnose.engine.forward"},
    "frozendict": {"diagnose.engine.forward"},
    "networkx": {"diagnose.graph"},
    "jinja2": {"diagnose.say.page"},
}
BELOW = {"click": "diagnose.cli", "polars": "diagnose.log", "sqlalchemy": "diagnose.casebook"}
STAGES = (
    ("diagnose", "diagnose.errors", "diagnose.files", "diagnose.say"),
    ("diagnose.knowledge",),
    ("diagnose.case", "diagnose.likelihood", "diagnose.mechanics", "diagnose.units"),
    ("diagnose.grading", "diagnose.tolerance"),
    ("diagnose.engine", "diagnose.graph"),
    ("diagnose.belief", "diagnose.joint"),
    ("diagnose.planner",),
    ("diagnose.session", "diagnose.machine", "diagnose.adjustment"),
    ("diagnose.views",),
    (
        "diagnose.proofs",
        "diagnose.moved",
        "diagnose.casebook",
        "diagnose.sheet",
        "diagnose.twine",
        "diagnose.log",
    ),
    ("diagnose.bale", "diagnose.train", "diagnose.rulebook"),
    ("diagnose.cli", "diagnose.__main__"),
)


def imports(path: Path) -> list[str]:
    """Every module that a file imports, wherever in it."""
    names: list[str] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.append(node.module)
    return names


def stage(module: str) -> int:
    """Index of the longest listed name that the module is or is inside."""
    found = [
        (len(name), i)
        for i, names in enumerate(STAGES)
        for name in names
        if module == name or (module.startswith(f"{name}.") and name != "diagnose")
    ]
    assert found, f"{module} has no place in the flow; give it one here"
    return max(found)[1]


@pytest.mark.parametrize("module", sorted(MODULES))
def test_a_module_imports_only_from_its_left(module: str) -> None:
    own = stage(module)
    for name in imports(MODULES[module]):
        if name.partition(".")[0] == "diagnose":
            assert stage(name) <= own, f"{module} imports {name}, which stands right of it"


@pytest.mark.parametrize("module", sorted(MODULES))
def test_a_library_is_imported_where_it_belongs(module: str) -> None:
    for name in imports(MODULES[module]):
        library = name.partition(".")[0]
        assert module in ONLY.get(library, {module}), f"{module} imports {library}"
        home = BELOW.get(library, "diagnose")
        assert module.startswith(home), f"{module} imports {library}, which belongs in {home}"
