"""Small troubleshooting problems at random, like those of a tying fault, only smaller."""

from __future__ import annotations

import numpy as np

from diagnose.planner import Problem

OVERLOOKS = (0.003, 0.029, 0.102, 0.25)
"""Chances that a check overlooks a fault: never, almost never, seldom, sometimes."""


def random_problem(
    rng: np.random.Generator,
    causes: int = 5,
    checks: int = 6,
    signs: int = 3,
    answers: int = 2,
    setups: int = 3,
) -> tuple[Problem, np.ndarray]:
    """A problem and the prior of its branches; one branch for each cause, the last unfindable."""
    overlooks = np.ones((checks, causes))
    for k in range(checks):
        overlooks[k, k % (causes - 1)] = rng.choice(OVERLOOKS)
        if rng.random() < 0.4:
            overlooks[k, rng.integers(causes - 1)] = rng.choice(OVERLOOKS)
    places = rng.uniform(0, 6, (setups, 2))
    moves = np.abs(places[:, None] - places[None]).sum(axis=2).round(1)
    problem = Problem(
        branch_cause=np.arange(causes),
        overlooks=overlooks,
        check_minutes=rng.integers(1, 12, checks).astype(float),
        check_setup=rng.integers(0, setups, checks),
        sign_minutes=rng.choice([0.3, 0.5, 1.0, 2.0], signs),
        sign_setup=np.where(rng.random(signs) < 0.6, 0, rng.integers(0, setups, signs)),
        likelihoods=tuple(rng.dirichlet(np.full(answers, 0.5), causes) for _ in range(signs)),
        moves=moves,
        call=float(rng.choice([60.0, 120.0, 240.0])),
    )
    prior = rng.dirichlet(np.ones(causes))
    return problem, prior
