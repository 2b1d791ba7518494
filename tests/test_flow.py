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
    "experta": {"diagnose.inference.forward"},
    "frozendict": {"diagnose.inference.forward"},
    "networkx": {"diagnose.inference.graph"},
    "jinja2": {"diagnose.say.page"},
}
BELOW = {"click": "diagnose.cli", "polars": "diagnose.log", "sqlalchemy": "diagnose.casebook"}
STAGES = (
    ("diagnose", "diagnose.errors", "diagnose.files", "diagnose.say"),
    ("diagnose.knowledge",),
    ("diagnose.case", "diagnose.inference"),
    ("diagnose.machine", "diagnose.planner"),
    ("diagnose.session", "diagnose.twine"),
    ("diagnose.views",),
    ("diagnose.rulebook", "diagnose.casebook", "diagnose.sheet", "diagnose.log"),
    ("diagnose.bale", "diagnose.train"),
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


USES = ("bale", "sheet", "log", "casebook", "train", "rulebook", "twine")


def rooms() -> dict[str, set[str]]:
    """Each room and the rooms that it imports, but for what all may import."""
    free = {"diagnose", "errors", "files", "say", "__version__"}
    arrows: dict[str, set[str]] = {}
    for module, path in MODULES.items():
        room = [*module.split(".")[1:2], "diagnose"][0]
        named = {n.split(".")[1] for n in imports(path) if n.startswith("diagnose.")}
        arrows.setdefault(room, set()).update(named - free - {room})
    return arrows


def test_no_use_imports_another_and_no_two_rooms_import_each_other() -> None:
    arrows = rooms()
    assert set(USES) < set(arrows)
    for use in USES:
        assert not arrows[use] & set(USES), f"{use} imports {arrows[use] & set(USES)}"
    for room, named in arrows.items():
        assert not [other for other in named if room in arrows[other]]
