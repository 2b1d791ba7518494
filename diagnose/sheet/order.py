"""The order to measure in, and the order to set in.

Measuring takes the setups in the order that costs fewest minutes. Setting puts what moves
others before what it moves, and within that stays in the nearest setup.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from itertools import pairwise

from diagnose.inference.graph import setup_minutes
from diagnose.knowledge.model import Check, Knowledge


def measuring_check(knowledge: Knowledge, setting: str) -> Check | None:
    """The check that measures this setting."""
    name = knowledge.links.check_of.get(setting)
    return knowledge.checks[name] if name else None


def setup_for(knowledge: Knowledge, setting: str) -> str:
    """Where a setting is measured; the start where no check says."""
    check = measuring_check(knowledge, setting)
    return check.setup if check else knowledge.start_setup


def shortest_path(costs: Sequence[Sequence[float]], start: int, stops: Iterable[int]) -> list[int]:
    """The cheapest open path from `start` through all `stops`.

    Exact, by dynamic programming over subsets (Held and Karp 1962, from memory).
    """

    @cache
    def best(here: int, left: frozenset[int]) -> tuple[float, tuple[int, ...]]:
        if not left:
            return 0.0, ()
        return min(
            (costs[here][stop] + rest, (stop, *path))
            for stop in left
            for rest, path in [best(stop, left - {stop})]
        )

    return list(best(start, frozenset(stops) - {start})[1])


def measuring_order(knowledge: Knowledge, settings: Iterable[str]) -> tuple[list[str], float]:
    """Settings in the order to measure them, and the minutes that the setup moves take."""
    wanted = list(settings)
    names, costs = setup_minutes(knowledge)
    start = names.index(knowledge.start_setup)
    stops = {names.index(setup_for(knowledge, setting)) for setting in wanted}
    path = [start, *shortest_path(costs.tolist(), start, stops)]
    minutes = sum(float(costs[a, b]) for a, b in pairwise(path))
    place = {names[stop]: rank for rank, stop in enumerate(path)}
    known = list(knowledge.settings)
    wanted.sort(key=lambda s: (place[setup_for(knowledge, s)], known.index(s)))
    return wanted, minutes


def setting_order(knowledge: Knowledge, settings: Iterable[str]) -> list[str]:
    """Settings in the order to set them. Where two move each other, the one that moves more
    of the others goes first, and both are measured again."""
    left = [name for name in knowledge.settings if name in set(settings)]
    names, costs = setup_minutes(knowledge)
    here = knowledge.start_setup
    order: list[str] = []
    while left:

        def rank(name: str) -> tuple[int, int, float, int]:
            moved_by = sum(name in knowledge.settings[other].moves for other in left)
            moves = sum(other in knowledge.settings[name].moves for other in left)
            far = float(costs[names.index(here), names.index(setup_for(knowledge, name))])  # noqa: B023
            return moved_by, -moves, far, left.index(name)

        best = min(left, key=rank)
        left.remove(best)
        order.append(best)
        here = setup_for(knowledge, best)
    return order


def measure_again(knowledge: Knowledge, settings: Iterable[str]) -> list[str]:
    """Settings to measure again after these were set: themselves, and all that moves with them."""
    changed = set(settings)
    moved = {other for name in changed for other in knowledge.settings[name].moves}
    return measuring_order(knowledge, changed | moved)[0]
