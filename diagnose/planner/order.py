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
NEGLIGIBLE_CAUSE = 1e-5
"""The cluster rule plans no check for a cause with a smaller share of all the weights."""


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
    value = np.zeros((many, 1 << n, setups))
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

    Bottom-up P-over-C (Ottosen and Jensen, UAI 2010): go for the run of checks, over all setups,
    with the best ratio of chance of finding to minutes, the way there included. Its first check
    is done and the rule applied anew, as a second check of the same cause is then worth less.
    weights (N, C), open_checks (K,), start (N,). A value is that of an order that can be
    followed, so never below the best order's.
    """
    causes, checks = _worth_planning(problem, weights, open_checks)
    finds = 1 - problem.overlooks[np.ix_(checks, causes)]
    minutes, setups = problem.check_minutes[checks], problem.check_setup[checks]
    begins = np.searchsorted(setups, setups)  # a run is a stretch of columns from here on
    total = weights.sum(axis=1)
    lost = total - weights[:, causes].sum(axis=1)
    spent = np.zeros((len(weights), len(checks)))
    lefts = np.tile(total[:, None], (1, len(checks) + 1))
    first = np.full(len(weights), -1)
    row, here, live = np.arange(len(weights)), start, weights[:, causes]
    still = np.ones((len(weights), len(checks)), dtype=bool)
    for step in range(len(checks)):
        gains = live @ finds.T * still
        busy = gains.max(axis=1) > NEGLIGIBLE * total[row]
        if not busy.all():
            row, here, live, still = row[busy], here[busy], live[busy], still[busy]
            gains = gains[busy]
            if not len(row):
                break
        k = _first_of_best_run(gains, minutes, problem.moves[here], setups, begins)
        at = np.arange(len(row))
        spent[row, step] = (problem.moves[here, setups[k]] + minutes[k]) * lefts[row, step]
        if step == 0:
            first[row] = checks[k]
        live = live * (1 - finds[k])
        still[at, k] = False
        here = setups[k]
        lefts[row, step + 1 :] = (live.sum(axis=1) + lost[row])[:, None]
    value = problem.call * lefts[:, -1]
    for step in range(len(checks) - 1, -1, -1):
        value = np.minimum(problem.call * lefts[:, step], spent[:, step] + value)
    return value, np.where(value < problem.call * total, first, -1)


def _worth_planning(problem: Problem, weights: Floats, open_checks: Mask) -> tuple[Ints, Ints]:
    """Causes that some weight is left on, and open checks of them in order of setup."""
    share = weights.sum(axis=0)
    causes = np.flatnonzero(share > NEGLIGIBLE_CAUSE * share.sum())
    gains = weights[:, causes] @ (1 - problem.overlooks[:, causes]).T
    useful = (gains > NEGLIGIBLE * weights.sum(axis=1)[:, None]).any(axis=0) & open_checks
    checks = np.flatnonzero(useful)
    return causes, checks[np.argsort(problem.check_setup[checks], kind="stable")]


def _first_of_best_run(
    gains: Floats, minutes: Floats, way: Floats, setups: Ints, begins: Ints
) -> Ints:
    """The check (N,) that begins the run with the best ratio of chance to minutes.

    gains (N, K) chance of finding, 0 where done; minutes (K,); way (N, U) minutes to each setup.
    Within a setup the best ratio comes first, and a run is all checks down to one of them.
    """
    ratios = gains / minutes
    worth = 2.0 * setups - ratios / ratios.max(axis=1, keepdims=True)
    order = np.argsort(worth, axis=1, kind="stable")
    row = np.arange(len(gains))
    found = gains[row[:, None], order].cumsum(axis=1)
    spent = minutes[order].cumsum(axis=1)
    before = begins > 0
    found[:, before] -= found[:, begins[before] - 1]
    spent[:, before] -= spent[:, begins[before] - 1]
    last = (found / (way[:, setups] + spent)).argmax(axis=1)
    first: Ints = order[row, begins[last]]
    return first


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
