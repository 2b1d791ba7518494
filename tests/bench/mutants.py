"""Mutants: how much of a small wrong change in our own code the tests notice.

Run as `python -m tests.bench.mutants [--draw N] [--seed S] [--room ROOM] [--state FILE]`. Places
are drawn uniformly, with a fixed seed, over all rooms below; each is changed by one operator, and
the tests of its room are run until one fails. Equivalent mutants are not taken out. 400 take some
hours; with `--state` a run that was stopped goes on. Operators: a comparison turned (< and <=,
> and >=, == and !=, in and not in, is and is not), and for or, not dropped, + for -, * for /, a
whole number one more, True for False, a returned value None, a statement left out, max for min,
break for continue, a condition that always holds.
"""

from __future__ import annotations

import argparse
import ast
import copy
import json
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

ROOT = Path(__file__).parent.parent.parent
DRAW, SEED, TIMEOUT = 400, 20261127, 240
ROOMS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "knowledge": (("knowledge",), ("tests/knowledge", "tests/rules/test_safety_of_acts.py")),
    "inference": (("inference",), ("tests/inference",)),
    "case": (("case",), ("tests/case", "tests/session/test_events.py",
                         "tests/session/test_two_faults.py", "tests/session/test_lost_looks.py")),
    "planner": (("planner",), ("tests/planner",)),
    "machine": (("machine",), ("tests/machine", "tests/sheet")),
    "session": (("session",), ("tests/session",)),
    "learning": (
        ("casebook/learning.py", "casebook/scores.py", "casebook/replay.py",
         "casebook/changes.py", "casebook/regression.py"),
        ("tests/casebook",),
    ),
}  # fmt: skip
"""Room -> its sources under `diagnose/`, and its tests."""
TURNED: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot,
    ast.IsNot: ast.Is, ast.And: ast.Or, ast.Or: ast.And, ast.Add: ast.Sub, ast.Sub: ast.Add,
    ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Break: ast.Continue, ast.Continue: ast.Break,
}  # fmt: skip


class Place(NamedTuple):
    """One change that can be made: where, and which."""

    room: str
    path: str
    index: int
    """Of the node, in the order of `ast.walk`."""
    line: int
    change: str


def places(room: str) -> Iterator[Place]:
    """Every change of a room's sources."""
    for source in ROOMS[room][0]:
        found = ROOT / "diagnose" / source
        for path in sorted(found.rglob("*.py")) if found.is_dir() else [found]:
            tree = ast.parse(path.read_text(encoding="utf-8"))
            for index, node in enumerate(ast.walk(tree)):
                for change in changes(node):
                    name = str(path.relative_to(ROOT))
                    yield Place(room, name, index, getattr(node, "lineno", 0), change)


def changes(node: ast.AST) -> Iterator[str]:
    """The operators that a node takes."""
    match node:
        case ast.Compare(ops=[op]) if type(op) in TURNED:
            yield "comparison"
        case ast.BoolOp():
            yield "and or"
        case ast.BinOp(op=op) if type(op) in TURNED:
            yield "arithmetic"
        case ast.UnaryOp(op=ast.Not()):
            yield "not dropped"
        case ast.Constant(value=bool()):
            yield "true false"
        case ast.Constant(value=int()):
            yield "one more"
        case ast.Return(value=value) if value is not None and not _is_none(value):
            yield "returns none"
        case ast.Expr(value=ast.Call()) | ast.AugAssign():
            yield "left out"
        case ast.Call(func=ast.Name(id="max" | "min")):
            yield "max min"
        case ast.Break() | ast.Continue():
            yield "break continue"
        case ast.If() | ast.IfExp():
            yield "always"


def _is_none(value: ast.expr) -> bool:
    return isinstance(value, ast.Constant) and value.value is None


def mutated(place: Place) -> str:
    """The source with one change made."""
    tree = ast.parse((ROOT / place.path).read_text(encoding="utf-8"))
    node: Any = next(n for i, n in enumerate(ast.walk(tree)) if i == place.index)
    match place.change:
        case "comparison":
            node.ops = [TURNED[type(node.ops[0])]()]
        case "and or" | "arithmetic":
            node.op = TURNED[type(node.op)]()
        case "true false":
            node.value = not node.value
        case "one more":
            node.value += 1
        case "returns none":
            node.value = ast.Constant(None)
        case "max min":
            node.func.id = {"max": "min", "min": "max"}[node.func.id]
        case "always":
            node.test = ast.Constant(True)
        case _:
            tree = _Replaced(node).visit(tree)
    return ast.unparse(ast.fix_missing_locations(tree))


class _Replaced(ast.NodeTransformer):
    """A node taken out, or put in the place of the one around it."""

    def __init__(self, node: ast.AST) -> None:
        self.node = node

    def visit(self, node: ast.AST) -> Any:
        if node is not self.node:
            return self.generic_visit(node)
        if isinstance(node, ast.UnaryOp):
            return copy.copy(node.operand)
        if isinstance(node, ast.Break | ast.Continue):
            return TURNED[type(node)]()
        return ast.Pass()


def killed(place: Place, tree: Path) -> bool:
    """Whether the tests of its room notice it; a run without end is noticed too."""
    path, tests = tree / place.path, ROOMS[place.room][1]
    kept = path.read_text(encoding="utf-8")
    path.write_text(mutated(place), encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests]
    try:
        result = subprocess.run(
            command, cwd=tree, capture_output=True, timeout=TIMEOUT, check=False,
            env={"PYTHONPATH": str(tree), "PATH": "/usr/bin:/bin", "CI": "1"},
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return True
    finally:
        path.write_text(kept, encoding="utf-8")
    return result.returncode != 0


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--draw", type=int, default=DRAW)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--room", choices=ROOMS)
    parser.add_argument("--state", type=Path)
    wanted = parser.parse_args()
    every = [p for room in ([wanted.room] if wanted.room else ROOMS) for p in places(room)]
    drawn = random.Random(wanted.seed).sample(every, min(wanted.draw, len(every)))
    known: dict[Place, bool] = {}
    if wanted.state and wanted.state.exists():
        for line in wanted.state.read_text().splitlines():
            *place, was = json.loads(line)
            known[Place(*place)] = was
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder) / "tree"
        ignored = shutil.ignore_patterns(".git", ".venv", ".*_cache", "__pycache__", ".hypothesis")
        shutil.copytree(ROOT, tree, ignore=ignored)
        for place in drawn:
            if place not in known:
                known[place] = killed(place, tree)
                told = "killed" if known[place] else "SURVIVED"
                print(f"{told}: {place.path}:{place.line} {place.change}", file=sys.stderr)
                if wanted.state:
                    with wanted.state.open("a") as state:
                        state.write(json.dumps([*place, known[place]]) + "\n")
    print(f"places that can be changed: {len(every)}")
    print(f"mutants drawn: {len(drawn)}")
    print(f"mutants killed, share: {sum(known[p] for p in drawn) / len(drawn):.3f}")
    for room in ROOMS:
        here = [known[place] for place in drawn if place.room == room]
        if here:
            print(f"mutants of {room}, killed: {sum(here)} of {len(here)}")


if __name__ == "__main__":
    main()
