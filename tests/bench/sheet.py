"""The measuring sheet in figures: false odd ones, setup moves saved, and time.

Run as `python -m tests.bench.sheet`.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt

from diagnose.inference.graph import setup_minutes
from diagnose.knowledge.load import load_rules
from diagnose.knowledge.model import Knowledge
from diagnose.machine.profile import read_machine
from diagnose.sheet.assess import assess
from diagnose.sheet.evenness import evenness, modified_z
from diagnose.sheet.order import measuring_order, setup_for
from diagnose.sheet.read import read_sheet

DEMO = Path(__file__).parents[2] / "casebook_demo"
ROWS = 20_000
PLAIN_LIMIT = 3.5  # Iglewicz and Hoaglin's own


def _share(rows: npt.NDArray[np.float64], named: Callable[[dict[int, float]], bool]) -> float:
    """Share of rows at which `named` names a knotter."""
    return sum(named(dict(enumerate(row.tolist(), 1))) for row in rows) / len(rows)


def _plain(row: dict[int, float]) -> bool:
    return any(abs(z) > PLAIN_LIMIT for z in modified_z(row, 1e-9).values())


def _ours(gauge: float) -> Callable[[dict[int, float]], bool]:
    def named(row: dict[int, float]) -> bool:
        result = evenness(row, gauge)
        return result is not None and bool(result.odd)

    return named


def _odd_ones() -> None:
    rng = np.random.default_rng(7)
    for knotters in (4, 6, 8):
        rows = rng.normal(size=(ROWS, knotters))
        print(f"even shafts of {knotters} called uneven, limit 3.5: {_share(rows, _plain):.3f}")
        print(f"even shafts of {knotters} called uneven, ours: {_share(rows, _ours(1e-9)):.3f}")
        gauged = _share(rows, _ours(1.0))
        print(f"even shafts of {knotters} called uneven, ours, gauge as wide as 1 sd: {gauged:.3f}")
    for sd in (5, 8, 12):
        rows = rng.normal(size=(ROWS, 6))
        rows[:, 3] += sd
        print(f"one of 6 off by {sd} sd found: {_share(rows, _ours(1e-9)):.3f}")


def _moves(knowledge: Knowledge, order: list[str]) -> float:
    """Minutes of setup moves for settings measured in this order."""
    names, costs = setup_minutes(knowledge)
    stops = [knowledge.start_setup, *(setup_for(knowledge, setting) for setting in order)]
    return sum(float(costs[names.index(a), names.index(b)]) for a, b in pairwise(stops))


def _setup_moves(knowledge: Knowledge) -> None:
    order, minutes = measuring_order(knowledge, knowledge.settings)
    by_part = _moves(knowledge, list(knowledge.settings))
    print(f"setup moves, full sheet, minutes: {_moves(knowledge, order):.0f} (told: {minutes:.0f})")
    print(f"setup moves, settings part by part, ratio to ours: {by_part / minutes:.2f}")


def _time(knowledge: Knowledge) -> None:
    machine = read_machine(DEMO / "machines/baler_c.yaml", knowledge)
    path = DEMO / "sheets/baler_c_2026-04-14.csv"
    took = []
    for _ in range(50):
        start = time.perf_counter()
        assess(read_sheet(path, knowledge, machine), knowledge, machine)
        took.append(time.perf_counter() - start)
    print(f"sheet read and graded, median ms: {1000 * float(np.median(took)):.1f}")


if __name__ == "__main__":
    base = load_rules()
    _odd_ones()
    _setup_moves(base)
    _time(base)
