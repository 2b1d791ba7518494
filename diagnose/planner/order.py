"""Orders of checks: exact by dynamic programming over subsets, near-exact by the cluster rule.

Weights need not add up to 1; a value is then minutes times the total weight, so that values
of the answers to a question can simply be added. All functions work on N beliefs at a time.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.planner.problem import Floats, Ints, Mask, Problem

NEGLIGIBLE = 1e-3
"""A check that finds the fault with less than this chance ends the cluster rule's plan."""


def order_minutes(problem: Problem, weights: Floats, order: Sequence[int], setup: int) -> float:
    """Expected minutes of checking in a fixed order, calling someone after the last. (C,) weights.

    Expected cost of a sequence of checks: Kalagnanam and Henrion, UAI 1988.
    """
    total, here, left = 0.0, setup, weights.copy()
    for k in order:
        there = int(problem.check_setup[k])
        total += (problem.moves[here, there] + problem.check_minutes[k]) * left.sum()
        left = left * problem.overlooks[k]
        here = there
    return float((total + problem.call * left.sum()) / weights.sum())


def best_order_values(
    problem: Problem,
    weights: Floats,
    checks: Ints,
    start: Ints,
    tail: Floats | None = None,
) -> tuple[Floats, Ints, Floats]:
    """Exact values by dynamic programming over subsets of `checks` and setups.

    weights (N, C); checks (n,) ids, at most about 12; start (N,) setups; tail (N, U) the value of
    what comes when all have failed (default: calling). Returns the values (N,), the first check
    (N,), -1 where calling at once is best, and the values (N, n) of starting with each check.
    """
    n, many, setups = len(checks), len(weights), len(problem.moves)
    states = np.arange(1 << n)
    survive = np.ones((1 << n, weights.shape[1]))
    for i, k in enumerate(checks):
        survive[states >> i & 1 == 1] *= problem.overlooks[k]
    left = weights @ survive.T
    call = problem.call * left
    value = np.empty((many, 1 << n, setups))
    value[:, -1] = call[:, -1:] if tail is None else np.minimum(call[:, -1:], tail)
    moves = problem.moves[:, problem.check_setup[checks]]
    size = np.array([bin(s).count("1") for s in states])
    bits = np.arange(n)
    for count in range(n - 1, -1, -1):
        layer = states[size == count]
        done = layer[:, None] >> bits & 1 == 1
        after = value[:, layer[:, None] | 1 << bits, problem.check_setup[checks]]
        after = after + problem.check_minutes[checks] * left[:, layer, None]
        after[:, done] = np.inf
        for u in range(setups):
            best = (after + moves[u] * left[:, layer, None]).min(axis=2)
            value[:, layer, u] = np.minimum(call[:, layer], best)
    row = np.arange(many)
    if n == 0:
        return value[row, 0, start], np.full(many, -1), np.empty((many, 0))
    first = after[:, 0, :] + moves[start] * left[:, :1]
    choice = np.where(call[:, 0] <= first.min(axis=1), -1, first.argmin(axis=1))
    return value[row, 0, start], np.where(choice < 0, -1, checks[choice]), first


def cluster_values(
    problem: Problem, weights: Floats, open_checks: Mask, start: Ints
) -> tuple[Floats, Ints]:
    """Values (N,) and first checks (N,) by the cluster rule, -1 where calling at once is best.

    Bottom-up P-over-C (Ottosen and Jensen, UAI 2010): again and again take, over all setups, the
    run of checks with the best ratio of chance of finding to minutes, the way there included.
    weights (N, C), open_checks (K,) or (N, K), start (N,).
    """
    groups = problem.checks_of_setup
    row = np.arange(len(weights))
    minutes = np.where(groups < 0, np.inf, problem.check_minutes[groups])
    finds, log_overlooks = 1 - problem.overlooks.T, np.log(np.maximum(problem.overlooks, 1e-300))
    still = np.broadcast_to(open_checks, (len(weights), len(problem.overlooks))).copy()
    here, weights = start.copy(), weights.copy()
    first = np.full(len(weights), -1)
    costs, lefts = [], [weights.sum(axis=1)]
    while True:
        gains = weights @ finds * still
        if not (gains.max(axis=1, initial=0.0) > NEGLIGIBLE * lefts[0]).any():
            break
        cost_of = np.where(still[:, groups] & (groups >= 0), minutes, np.inf)
        gain_of = gains[:, groups]
        by_ratio = np.argsort(-gain_of / cost_of, axis=2)
        gain_of = np.take_along_axis(gain_of, by_ratio, axis=2)
        cost_of = np.take_along_axis(cost_of, by_ratio, axis=2)
        found, spent = gain_of.cumsum(axis=2), cost_of.cumsum(axis=2)
        way = problem.moves[here]
        ratio = (found / (way[:, :, None] + spent)).reshape(len(weights), -1)
        setup, last = np.divmod(ratio.argmax(axis=1), groups.shape[1])
        busy = ratio.max(axis=1) > 0
        if not busy.any():
            break
        left = lefts[-1]
        steps = np.arange(groups.shape[1]) <= last[:, None]
        before = np.maximum(left[:, None] - found[row, setup] + gain_of[row, setup], 0)
        checking = np.where(steps & busy[:, None], cost_of[row, setup], 0.0)
        costs.append(np.where(busy, way[row, setup] * left, 0.0) + (checking * before).sum(axis=1))
        chosen = groups[setup[:, None], by_ratio[row, setup]]
        if len(costs) == 1:
            first = np.where(busy, chosen[:, 0], -1)
        # Padding is written to a column of its own, which is then cut off.
        taken = np.zeros((len(weights), still.shape[1] + 1), dtype=bool)
        np.put_along_axis(taken, chosen, steps & busy[:, None] & (chosen >= 0), axis=1)
        taken = taken[:, :-1] & still
        still &= ~taken
        weights = weights * np.exp(taken @ log_overlooks)
        lefts.append(weights.sum(axis=1))
        here = np.where(busy, setup, here)
    value = problem.call * lefts[-1]
    for cost, left in zip(reversed(costs), reversed(lefts[:-1]), strict=True):
        value = np.minimum(problem.call * left, cost + value)
    if costs:
        first = np.where(value >= problem.call * lefts[0], -1, first)
    return value, first


def looks(weights: Floats, finds: Floats, minutes: Floats, count: int) -> list[int]:
    """The best order of looks when a look may overlook the fault and be repeated.

    weights (C,), finds (C,): chance that one look at cause c finds it, minutes (C,). Always look
    where chance of finding per minute is greatest (Black, Operations Research 13, 1965; from
    memory).
    """
    order, left = [], weights.copy()
    for _ in range(count):
        c = int(np.argmax(left * finds / minutes))
        order.append(c)
        left[c] *= 1 - finds[c]
    return order
