"""Problems written down by hand, and the policy under test."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.planner import Problem, look_ahead
from tests.planner.exact import Exact, State, Step

Table = Sequence[Sequence[float]]
FAR = 1e6
"""Minutes of calling, where nobody would call."""


def problem_of_checks(
    minutes: Sequence[float],
    *,
    overlooks: Table | None = None,
    setups: Sequence[int] | None = None,
    moves: Table = ((0.0,),),
    call: float = FAR,
    questions: Sequence[tuple[float, Table]] = (),
) -> Problem:
    """One cause a branch. overlooks (K, C): without it check k finds cause k and no other.

    questions: minutes, and P(answer | cause) by cause; asked where one stands.
    """
    n = len(minutes)
    table = np.array(overlooks) if overlooks is not None else 1.0 - np.eye(n)
    return Problem(
        branch_cause=np.arange(table.shape[1]),
        overlooks=table,
        check_minutes=np.array(minutes, dtype=float),
        check_setup=np.array(setups or [0] * n),
        sign_minutes=np.array([m for m, _ in questions], dtype=float),
        sign_setup=np.full(len(questions), -1),
        likelihoods=tuple(np.array(answers, dtype=float) for _, answers in questions),
        moves=np.array(moves, dtype=float),
        call=call,
    )


def ours(exact: Exact, state: State) -> Step:
    """The step that one-step lookahead takes."""
    answers, done, setup = state
    checks = np.array([not done >> k & 1 for k in range(len(exact.problem.check_minutes))])
    signs = np.array([a < 0 for a in answers], dtype=bool)
    best = look_ahead(exact.problem, exact.weights(state), setup, checks, signs).best
    return best.kind, best.index
