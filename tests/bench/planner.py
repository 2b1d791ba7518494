"""The planner in minutes: against the exact optimum, and against a printed chart.

Run as `python -m tests.bench.planner`; takes some minutes. Every bale is drawn from the rule
base itself: its cause by commonness, its mechanism, the answers and what a check overlooks by
their words. So the figures say how well the rules are used, not how true they are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from diagnose.knowledge import load_rules
from diagnose.planner import Problem
from diagnose.session import Reasoner
from tests.bench.bales import Bale, Result, by_chance_over_minutes, by_chart, by_planner, draw_bale
from tests.planner.exact import Exact
from tests.planner.problems import ours
from tests.planner.random_problems import random_problem

SIZES = (
    (100, {"causes": 5, "checks": 6, "signs": 3, "answers": 2}),
    (70, {"causes": 5, "checks": 5, "signs": 3, "answers": 3}),
    (30, {"causes": 6, "checks": 7, "signs": 4, "answers": 2}),
)
SLICES, SLICE_CAUSES, SLICE_CHECKS, SLICE_STATES = 20, 5, 6, 150
BALES = 300


def ratio_to_optimum(problem: Problem, prior: np.ndarray) -> float:
    exact = Exact(problem, prior)
    start = exact.start()
    return exact.minutes_of(ours, start) / exact.value(start)[0]


def random_small() -> Iterator[float]:
    for size, (many, sizes) in enumerate(SIZES):
        for seed in range(many):
            yield ratio_to_optimum(*random_problem(np.random.default_rng([size, seed]), **sizes))


def slice_of(reasoner: Reasoner, rng: np.random.Generator) -> tuple[Problem, np.ndarray]:
    """Some causes of the rule base, the first checks of each, and the questions that tell most.

    So many questions that not more than `SLICE_STATES` ways of answering them exist.
    """
    tables, problem = reasoner.tables, reasoner.problem
    chosen = np.sort(rng.choice(len(tables.causes), SLICE_CAUSES, replace=False, p=tables.prior))
    branches = np.flatnonzero(np.isin(problem.branch_cause, chosen))
    confirming = [np.flatnonzero(problem.overlooks[:, c] < 1)[:2] for c in chosen]
    checks = np.unique(np.concatenate(confirming))[:SLICE_CHECKS].astype(int)
    prior = (tables.prior[tables.branch_cause] * tables.branch_share)[branches]
    prior = prior / prior.sum()
    tells = [_tells(prior, table[branches]) for table in problem.likelihoods]
    signs: list[int] = []
    states = 1
    for s in np.argsort(tells)[::-1]:
        more = problem.likelihoods[s].shape[1] + 1
        if states * more <= SLICE_STATES:
            signs, states = [*signs, int(s)], states * more
    return replace(
        problem,
        branch_cause=np.searchsorted(chosen, problem.branch_cause[branches]),
        overlooks=problem.overlooks[np.ix_(checks, chosen)],
        check_minutes=problem.check_minutes[checks],
        check_setup=problem.check_setup[checks],
        sign_minutes=problem.sign_minutes[signs],
        sign_setup=problem.sign_setup[signs],
        likelihoods=tuple(problem.likelihoods[s][branches] for s in signs),
    ), prior


def _tells(prior: np.ndarray, table: np.ndarray) -> float:
    """Information of a question about the branch, in nats."""
    joint = prior[:, None] * table
    return float((joint * np.log(table / joint.sum(axis=0))).sum())


def minutes_of(name: str, bales: list[Bale], method: Callable[[Bale], Result]) -> np.ndarray:
    """Minutes (N,) that a method takes for each bale."""
    results = [method(bale) for bale in bales]
    minutes = np.array([minutes for minutes, _ in results])
    print(f"{name}, mean minutes: {minutes.mean():.1f}")
    print(f"{name}, mean minutes, standard error: {_standard_error(minutes):.1f}")
    print(f"{name}, share of faults found: {np.mean([found for _, found in results]):.3f}")
    return minutes


def ratio_of_means(minutes: np.ndarray, ours: np.ndarray) -> tuple[float, float]:
    """Ratio of the means of two methods on the same bales (N,), and its standard error.

    The error of a ratio estimator for paired samples: Cochran, Sampling Techniques, ch. 6
    (from memory).
    """
    ratio = float(minutes.mean() / ours.mean())
    return ratio, _standard_error(minutes - ratio * ours) / float(ours.mean())


def _standard_error(values: np.ndarray) -> float:
    return float(values.std(ddof=1) / np.sqrt(len(values)))


def show(name: str, ratios: list[float]) -> None:
    print(f"{name}, problems: {len(ratios)}")
    print(f"{name}, ratio to the exact optimum, mean: {np.mean(ratios):.4f}")
    print(f"{name}, ratio to the exact optimum, worst: {max(ratios):.4f}")


def main() -> None:
    show("random small problems", list(random_small()))
    reasoner = Reasoner(load_rules())
    rng = np.random.default_rng(1)
    slices = [slice_of(reasoner, rng) for _ in range(SLICES)]
    show("slices of the rule base", [ratio_to_optimum(*part) for part in slices])

    bales = [draw_bale(reasoner, seed) for seed in range(BALES)]
    print(f"bales drawn from the rule base: {len(bales)}")
    planner = minutes_of("our planner", bales, by_planner(reasoner))
    others = {
        "printed chart, commonest first": by_chart(reasoner, by_commonness=True),
        "printed chart, in order of the files": by_chart(reasoner, by_commonness=False),
        "chance over minutes, no questions": by_chance_over_minutes(reasoner),
    }
    for name, method in others.items():
        ratio, error = ratio_of_means(minutes_of(name, bales, method), planner)
        print(f"{name}, ratio to our planner: {ratio:.2f}")
        print(f"{name}, ratio to our planner, standard error: {error:.2f}")


if __name__ == "__main__":
    main()
