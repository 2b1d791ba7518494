"""Simulated learners for the drill: at random, down a printed chart, by chance alone, the planner.

Each names what a check has found and calls nobody. All make safe what has to be.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import numpy as np

from diagnose.inference.tables import Tables
from diagnose.train.deal import Deal
from diagnose.train.judge import Judge
from diagnose.train.planner_way import planner_plays, with_precautions
from diagnose.train.play import Move, Played, Position, shown_sign
from diagnose.train.wording import check_labels, sign_labels
from tests.small_base import SOMETHING_ELSE

Choice = Callable[[Position], Move]
Learner = Callable[[Judge, Deal], Played]
CHART_SHARE = 0.10
"""A cause stands in a row of the chart when it shows that row's sign at least this often."""
MOST_LOOKS = 2000


def _plays(judge: Judge, case: Deal, choose: Choice) -> Played:
    played = Played.begun(judge.tables, case)
    for _ in range(MOST_LOOKS):
        if played.here.end:
            break
        found = played.here.found
        move = Move("name", found) if found else choose(played.here)
        played = with_precautions(judge, played, move)
    return played


def at_random(judge: Judge, case: Deal) -> Played:
    """Any question or check not done yet, all alike; when all are done, from the start."""
    base, random = judge.tables.base, Random(f"random learner {case.code}")
    every = [Move("ask", name) for name in sign_labels(base)]
    every += [Move("check", name) for name in check_labels(base)]
    waiting: list[Move] = []

    def choose(_: Position) -> Move:
        if not waiting:
            waiting.extend(random.sample(every, len(every)))
        return waiting.pop()

    return _plays(judge, case, choose)


def surest_check(tables: Tables, cause: str, done: frozenset[str]) -> str | None:
    """The check not done yet that overlooks a cause least; the first listed of equals."""
    c = tables.causes.index(cause)
    looks = [check for check in tables.base.checks if cause in tables.base.checks[check].confirms]
    still = [check for check in looks if check not in done]
    return min(still, key=lambda k: tables.overlooks[tables.checks.index(k), c], default=None)


def down_the_chart(judge: Judge, case: Deal) -> Played:
    """A printed chart: its row by what hangs from the bale, the causes in the rule files' order.

    What is not in the row comes after it. The chart asks nothing and knows no minutes.
    """
    tables = judge.tables

    def choose(here: Position) -> Move:
        row = _row(tables, dict(here.answers)[shown_sign(tables.base)])
        for cause in row:
            check = surest_check(tables, cause, here.looked)
            if check and not _looked_for(tables, cause, here):
                return Move("check", check)
        for cause in row:
            check = surest_check(tables, cause, here.looked)
            if check:
                return Move("check", check)
        return Move("check", Random(len(here.results)).choice(tables.checks))

    return _plays(judge, case, choose)


def _row(tables: Tables, answer: str) -> list[str]:
    shown = shown_sign(tables.base)
    chance = tables.sum_by_cause(
        tables.branch_share * tables.answer_likelihood(shown, (answer,))
    ) / tables.sum_by_cause(tables.branch_share)
    causes = [name for name in tables.base.causes if name != SOMETHING_ELSE]
    inside = {c for c in causes if chance[tables.causes.index(c)] >= CHART_SHARE}
    return [c for c in causes if c in inside] + [c for c in causes if c not in inside]


def _looked_for(tables: Tables, cause: str, here: Position) -> bool:
    return any(cause in tables.base.checks[check].confirms for check, _ in here.results)


def by_chance_alone(judge: Judge, case: Deal) -> Played:
    """Always the likeliest cause by all that is known, whatever its check costs. Asks nothing."""
    tables = judge.tables

    def choose(here: Position) -> Move:
        causes = tables.posterior(here.evidence).causes
        for c in np.argsort(-causes, kind="stable"):
            if tables.causes[c] == SOMETHING_ELSE:
                continue
            check = surest_check(tables, tables.causes[c], here.looked)
            if check:
                return Move("check", check)
        return Move("check", Random(len(here.results)).choice(tables.checks))

    return _plays(judge, case, choose)


def half_trained(judge: Judge, case: Deal) -> Played:
    """The planner's step two times in three, else any question or check not done yet."""
    base, random = judge.tables.base, Random(f"half trained {case.code}")
    every = [Move("ask", name) for name in sign_labels(base)]
    every += [Move("check", name) for name in check_labels(base)]

    def choose(here: Position) -> Move:
        if random.random() < 2 / 3:
            return judge.best(here)
        return random.choice([move for move in every if move.id not in here.looked] or every)

    return _plays(judge, case, choose)


LEARNERS: dict[str, Learner] = {
    "random": at_random,
    "chart follower": down_the_chart,
    "p-only": by_chance_alone,
    "planner": planner_plays,
}
"""From the worst to the best, as theory ranks them."""
