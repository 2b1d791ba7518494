"""A troubleshooting problem as arrays: checks, questions, setups, and the price of giving up."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from diagnose.inference.tables import Tables

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
ANYWHERE = -1


@dataclass(frozen=True)
class Problem:
    """C causes, B branches of them, K checks, S questions, U setups. All minutes are >= 0.

    A check stops the search when it finds the fault. A question changes the weights only.
    Calling someone costs `call` minutes, ends the search, and is open at any time.
    """

    branch_cause: Ints
    """(B,) cause of each branch, ascending."""
    overlooks: Floats
    """(K, C) P(check finds nothing | cause); 1 where the check does not confirm the cause."""
    check_minutes: Floats
    check_setup: Ints
    sign_minutes: Floats
    sign_setup: Ints
    """Setup of each question; ANYWHERE for what is remembered or asked and moves nobody."""
    likelihoods: tuple[Floats, ...]
    """For each question (B, answers): P(answer | branch)."""
    moves: Floats
    """(U, U) minutes from setup to setup."""
    call: float

    @cached_property
    def first_branch(self) -> Ints:
        return np.flatnonzero(np.diff(self.branch_cause, prepend=-1))

    def causes(self, branches: Floats) -> Floats:
        """Weights of causes from weights of branches, along the last axis."""
        return np.add.reduceat(branches, self.first_branch, axis=-1)

    @cached_property
    def checks_of_setup(self) -> Ints:
        """(U, most checks of a setup), padded with -1."""
        groups = [np.flatnonzero(self.check_setup == u) for u in range(len(self.moves))]
        padded = np.full((len(groups), max(1, *(len(g) for g in groups))), -1)
        for u, group in enumerate(groups):
            padded[u, : len(group)] = group
        return padded


def _asked_at(tables: Tables, setup: str) -> int:
    """What belongs to the start (the bale on the ground, the driver) closes no cover again."""
    return ANYWHERE if setup == tables.base.start_setup else tables.setups.index(setup)


def problem_of(tables: Tables) -> Problem:
    """The whole rule base as one problem; indices follow the order of the tables."""
    base, setups = tables.base, tables.setups
    checks, signs = list(base.checks), list(base.signs)
    return Problem(
        branch_cause=tables.branch_cause,
        overlooks=tables.overlooks,
        check_minutes=np.array([tables.minutes[name] for name in checks]),
        check_setup=np.array([setups.index(base.checks[name].setup) for name in checks]),
        sign_minutes=np.array([tables.minutes[name] for name in signs]),
        sign_setup=np.array([_asked_at(tables, base.signs[name].setup) for name in signs]),
        likelihoods=tuple(tables.likelihood[name] for name in signs),
        moves=tables.moves,
        call=base.base.call_minutes,
    )
