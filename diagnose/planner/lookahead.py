"""One-step lookahead: ask the question that saves most, or do the next check.

Every question is weighed by planning the checks anew for each of its answers. A question can
also wait: it is compared with doing the best check first and asking then.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from diagnose.planner.order import best_order_values, cluster_values
from diagnose.planner.problem import ANYWHERE, Floats, Ints, Mask, Problem

EXACT_CHECKS = 7
"""With no more open checks than this, questions are weighed with exact orders."""
FINAL_CHECKS = 10
"""The order of this many best checks is exact; what comes after follows the cluster rule."""
DEFERRED = 3
"""So many of the best questions are tried after the best check as well."""
TELLS_NOTHING = 0.01
"""A question whose answers move the chances of all causes by less than this is not weighed."""
TIE = 1e-9


EQUAL_MINUTES = 9
"""Decimals of minutes up to which two steps are equal: far below what anyone could tell."""
KINDS = ("ask", "check", "call")


@dataclass(frozen=True)
class Option:
    """A step that can be taken now. `total` is expected minutes from now when taking it first."""

    kind: str
    """`ask`, `check` or `call`."""
    index: int
    """Index of the question or check; -1 for calling."""
    total: float


def _rank(option: Option) -> tuple[float, int, int]:
    """Fewest minutes first; of equal ones questions, then checks, then calling, each in the order
    of the problem. Rounded, so that a second implementation orders alike."""
    return round(option.total, EQUAL_MINUTES), KINDS.index(option.kind), option.index


@dataclass(frozen=True)
class Outlook:
    """The best step, every other step worth naming (best first), and the checks-only plan."""

    best: Option
    options: tuple[Option, ...]
    checks_only: float
    """Expected minutes with checks alone, no more questions."""


def look_ahead(
    problem: Problem, branches: Floats, setup: int, checks: Mask, signs: Mask
) -> Outlook:
    """The next step for the weights of branches (B,), standing in `setup`.

    checks (K,) and signs (S,) say what is open.
    """
    branches = branches / branches.sum()
    causes = problem.causes(branches)
    check_options = _check_options(problem, causes, setup, checks)
    call = Option("call", -1, problem.call)
    by_check = min([*check_options, call], key=_rank)
    # Questions are weighed with a quicker rule than `by_check`, so what one saves is counted from
    # that rule's own value of checks alone.
    rough, asked = _ask_options(problem, branches, setup, checks, np.flatnonzero(signs))
    ask_options = [Option("ask", ask.index, by_check.total - (rough - ask.total)) for ask in asked]
    options = sorted([*ask_options, *check_options, call], key=_rank)
    best = options[0]
    if best.kind == "ask" and by_check.kind == "check":
        waiting = [option.index for option in asked[:DEFERRED]]
        later = _check_first(problem, branches, setup, checks, by_check.index, waiting)
        if later < asked[0].total - TIE:
            best = by_check
    return Outlook(best, tuple(options), by_check.total)


def _values(problem: Problem, causes: Floats, checks: Mask, start: Ints) -> Floats:
    """Checks-only values (N,) of beliefs (N, C): exact where few checks are open."""
    if checks.sum() <= EXACT_CHECKS:
        return best_order_values(problem, causes, np.flatnonzero(checks), start)[0]
    return cluster_values(problem, causes, checks, start)[0]


def _check_options(problem: Problem, causes: Floats, setup: int, checks: Mask) -> list[Option]:
    """The most promising checks, each with the minutes of the best order that starts with it."""
    minutes = problem.check_minutes + problem.moves[setup, problem.check_setup]
    promise = np.where(checks, (1 - problem.overlooks) @ causes / np.maximum(minutes, 1e-9), 0.0)
    order = np.argsort(-promise, kind="stable")[: min(FINAL_CHECKS, int((promise > 0).sum()))]
    if not len(order):
        return []
    rest = checks.copy()
    rest[order] = False
    left = causes * np.prod(problem.overlooks[order], axis=0)
    every = np.arange(len(problem.moves))
    tail = cluster_values(problem, np.tile(left, (len(every), 1)), rest, every)[0]
    start = np.array([setup])
    first = best_order_values(problem, causes[None], order, start, tail[None])[2][0]
    options = (Option("check", int(k), float(v)) for k, v in zip(order, first, strict=True))
    return sorted(options, key=_rank)


def _ask_options(
    problem: Problem, branches: Floats, setup: int, checks: Mask, signs: Iterable[int]
) -> tuple[float, list[Option]]:
    """Minutes of only checking, and of asking each question now and then only checking.

    Questions come best first; those that hardly depend on the cause are left out.
    """
    causes, weight = problem.causes(branches), branches.sum()
    here = {s: setup if problem.sign_setup[s] == ANYWHERE else problem.sign_setup[s] for s in signs}
    beliefs, where, owner = [causes[None]], [setup], [-1]
    for s, there in here.items():
        answers = problem.causes((branches[:, None] * problem.likelihoods[s]).T)
        moved = np.abs(answers - answers.sum(axis=1, keepdims=True) * causes / weight).sum() / 2
        if moved > TELLS_NOTHING * weight:
            beliefs.append(answers)
            where += [there] * len(answers)
            owner += [s] * len(answers)
    values = _values(problem, np.concatenate(beliefs), checks, np.array(where))
    after = np.bincount(np.array(owner) + 1, values)
    options = []
    for s in sorted(set(owner) - {-1}):
        cost = problem.sign_minutes[s] + problem.moves[setup, here[s]]
        options.append(Option("ask", s, float(cost * weight + after[s + 1])))
    return float(values[0]), sorted(options, key=_rank)


def _check_first(
    problem: Problem, branches: Floats, setup: int, checks: Mask, k: int, waiting: list[int]
) -> float:
    """Minutes of doing check k now and then asking the best of `waiting`, if any is worth it."""
    there = int(problem.check_setup[k])
    cost: float = problem.moves[setup, there] + problem.check_minutes[k]
    left = branches * problem.overlooks[k][problem.branch_cause]
    rest = checks.copy()
    rest[k] = False
    plain, asked = _ask_options(problem, left, there, rest, waiting)
    return float(cost + min([plain, *(option.total for option in asked)]))
