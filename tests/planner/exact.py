"""The exact optimum of small troubleshooting problems, and the exact minutes of any policy.

Plain recursion over everything that can happen: slow, and independent of `diagnose.planner`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from diagnose.planner import Problem
from diagnose.planner.problem import ANYWHERE

Step = tuple[str, int]
State = tuple[tuple[int, ...], int, int]
"""Answer of each question (-1 open), bit set of checks done, setup."""


class Exact:
    def __init__(self, problem: Problem, prior: np.ndarray) -> None:
        self.problem, self.prior = problem, prior
        self._optimum: dict[State, tuple[float, Step]] = {}

    def weights(self, state: State) -> np.ndarray:
        """Unnormalised weights of branches in a state."""
        answers, done, _ = state
        weights = self.prior.copy()
        for s, a in enumerate(answers):
            if a >= 0:
                weights = weights * self.problem.likelihoods[s][:, a]
        for k in range(len(self.problem.check_minutes)):
            if done >> k & 1:
                weights = weights * self.problem.overlooks[k][self.problem.branch_cause]
        return weights

    def start(self, setup: int = 0) -> State:
        return (-1,) * len(self.problem.sign_minutes), 0, setup

    def steps(self, state: State) -> list[Step]:
        answers, done, _ = state
        checks = range(len(self.problem.check_minutes))
        return [
            *(("check", k) for k in checks if not done >> k & 1),
            *(("ask", s) for s, a in enumerate(answers) if a < 0),
            ("call", -1),
        ]

    def after(self, state: State, step: Step) -> tuple[float, list[State]]:
        """Minutes of a step (times weight) and the states it may lead to."""
        (answers, done, setup), (kind, i) = state, step
        weight = self.weights(state).sum()
        if kind == "call":
            return self.problem.call * weight, []
        if kind == "check":
            there = int(self.problem.check_setup[i])
            cost = self.problem.moves[setup, there] + self.problem.check_minutes[i]
            return cost * weight, [(answers, done | 1 << i, there)]
        there = int(self.problem.sign_setup[i])
        there = setup if there == ANYWHERE else there
        cost = self.problem.moves[setup, there] + self.problem.sign_minutes[i]
        return cost * weight, [
            ((*answers[:i], a, *answers[i + 1 :]), done, there)
            for a in range(self.problem.likelihoods[i].shape[1])
        ]

    def value(self, state: State) -> tuple[float, Step]:
        """Optimal minutes (times weight) and the step that reaches them."""
        if state not in self._optimum:
            if not self.weights(state).any():
                return 0.0, ("call", -1)
            best: tuple[float, Step] = (np.inf, ("call", -1))
            for step in self.steps(state):
                cost, states = self.after(state, step)
                total = cost + sum(self.value(s)[0] for s in states)
                best = min(best, (total, step))
            self._optimum[state] = best
        return self._optimum[state]

    def minutes_of(self, policy: Callable[[Exact, State], Step], state: State) -> float:
        """Expected minutes (times weight) of following a policy from a state."""
        if self.weights(state).sum() < 1e-15:
            return 0.0
        cost, states = self.after(state, policy(self, state))
        return float(cost + sum(self.minutes_of(policy, s) for s in states))
