"""What must hold of every plan, on small random problems."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.planner import Problem, look_ahead
from diagnose.planner.order import best_order_values, cluster_values, order_minutes
from tests.planner.exact import Exact
from tests.planner.problems import ours
from tests.planner.random_problems import random_problem

CHECKS = 5
seeds = st.integers(0, 2**32 - 1)


def drawn(seed: int, **sizes: int) -> tuple[Problem, np.ndarray]:
    return random_problem(np.random.default_rng(seed), **{"checks": CHECKS, **sizes})


def exact_value(problem: Problem, weights: np.ndarray, setup: int = 0) -> float:
    every = np.arange(len(problem.check_minutes))
    return float(best_order_values(problem, weights[None], every, np.array([setup]))[0][0])


def cluster_value(problem: Problem, weights: np.ndarray, setup: int = 0) -> float:
    every = np.ones(len(problem.check_minutes), dtype=bool)
    return float(cluster_values(problem, weights[None], every, np.array([setup]))[0][0])


@settings(max_examples=25, deadline=None)
@given(seeds)
def test_dynamic_programming_is_the_best_of_all_orders_ended_anywhere(seed: int) -> None:
    problem, prior = drawn(seed)
    orders = (o for n in range(CHECKS + 1) for o in permutations(range(CHECKS), n))
    brute = min(order_minutes(problem, prior, order, 0) for order in orders)
    assert exact_value(problem, prior) == pytest.approx(brute, rel=1e-12)


@settings(max_examples=100, deadline=None)
@given(seeds)
def test_the_cluster_rule_is_never_better_and_seldom_much_worse(seed: int) -> None:
    problem, prior = drawn(seed, causes=7, checks=7)
    best, cluster = exact_value(problem, prior), cluster_value(problem, prior)
    assert best - 1e-9 <= cluster <= 1.5 * best


@settings(max_examples=50, deadline=None)
@given(seeds, st.floats(0.01, 100))
def test_values_are_linear_in_the_weights(seed: int, factor: float) -> None:
    problem, prior = drawn(seed)
    for value in (exact_value, cluster_value):
        assert value(problem, factor * prior) == pytest.approx(factor * value(problem, prior))


@settings(max_examples=50, deadline=None)
@given(seeds)
def test_an_answer_known_for_nothing_never_makes_the_rest_dearer(seed: int) -> None:
    problem, prior = drawn(seed)
    for table in problem.likelihoods:
        parts = sum(exact_value(problem, prior * table[:, a]) for a in range(table.shape[1]))
        assert parts <= exact_value(problem, prior) + 1e-9


@settings(max_examples=15, deadline=None)
@given(seeds)
def test_looking_ahead_is_never_worse_than_checking_only(seed: int) -> None:
    problem, prior = drawn(seed, checks=4)
    exact = Exact(problem, prior)
    minutes = exact.minutes_of(ours, exact.start())
    assert minutes <= exact_value(problem, prior) + 1e-9
    assert minutes >= exact.value(exact.start())[0] - 1e-9


@settings(max_examples=15, deadline=None)
@given(seeds)
def test_one_step_of_lookahead_stops_asking_too_early_never_too_late(seed: int) -> None:
    """Hay, Russell, Tolpin and Shimony, UAI 2012, theorem 7: what it promises can be had."""
    problem, prior = drawn(seed, checks=4)
    exact = Exact(problem, prior)
    optimum, _ = exact.value(exact.start())
    open_signs = np.ones(len(problem.sign_minutes), dtype=bool)
    outlook = look_ahead(problem, prior, 0, np.ones(4, dtype=bool), open_signs)
    assert outlook.checks_only == pytest.approx(exact_value(problem, prior))
    assert all(optimum <= option.total + 1e-9 for option in outlook.options)


@settings(max_examples=50, deadline=None)
@given(seeds)
def test_the_outlook_without_questions_is_the_best_order(seed: int) -> None:
    problem, prior = drawn(seed)
    none = np.zeros(len(problem.sign_minutes), dtype=bool)
    outlook = look_ahead(problem, prior, 0, np.ones(CHECKS, dtype=bool), none)
    assert outlook.best.total == pytest.approx(exact_value(problem, prior))
    totals = [option.total for option in outlook.options]
    assert totals == sorted(totals)


def test_what_was_done_is_not_planned_again() -> None:
    problem, prior = drawn(1)
    checks = np.array([True, False, True, False, True])
    none = np.zeros(len(problem.sign_minutes), dtype=bool)
    planned = {o.index for o in look_ahead(problem, prior, 0, checks, none).options}
    assert planned <= {0, 2, 4, -1}
