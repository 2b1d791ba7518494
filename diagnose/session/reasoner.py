"""The rule base made ready once: tables, planner's arrays, engine. Reused for every case."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from diagnose.inference import Conclusions
from diagnose.inference.productions import compile_productions, own_signs
from diagnose.inference.tables import Floats, Tables
from diagnose.knowledge import Knowledge
from diagnose.planner.problem import Problem, problem_of

if TYPE_CHECKING:
    from diagnose.inference.forward import Engine


class Reasoner:
    """Everything derived from one rule base. Immutable but for the engine's working memory."""

    def __init__(
        self,
        base: Knowledge,
        prior: Mapping[str, float] | None = None,
        minutes: Mapping[str, float] | None = None,
        confirmed_cases: int = 0,
    ) -> None:
        """`prior` (by cause) and `minutes` (by check or sign) are what a casebook has taught,

        resting on `confirmed_cases`; without them the rule base's own words count.
        """
        self.base = base
        self.confirmed_cases = confirmed_cases
        self._prior, self._minutes = prior, minutes
        self._untaught: Reasoner | None = None
        self._building = threading.Lock()

    @cached_property
    def tables(self) -> Tables:
        return Tables(self.base, self._prior, self._minutes)

    @cached_property
    def problem(self) -> Problem:
        return problem_of(self.tables)

    @property
    def engine(self) -> Engine:
        """Knows no commonness and no minutes: one engine serves the rules, taught or not.

        Built by whoever asks first, in the background or not; others wait.
        """
        if self._untaught:
            return self._untaught.engine
        with self._building:
            return self._engine

    @cached_property
    def _engine(self) -> Engine:
        from diagnose.inference.forward import Engine

        return Engine(compile_productions(self.base))

    def conclude(
        self,
        given: Mapping[str, Iterable[tuple[str, ...]]],
        cleared: Iterable[str] = (),
        found: Iterable[str] = (),
    ) -> Conclusions:
        """All that follows (see `Engine.conclude`). From nothing follows nothing, at once."""
        if not (given or cleared or found):
            return Conclusions()
        return self.engine.conclude(given, cleared=cleared, found=found)

    @cached_property
    def own_signs(self) -> dict[str, frozenset[str]]:
        """For each cause the signs for which its own rule goes before its mechanisms'."""
        return own_signs(self.base)

    def hits_several(self, cause: str) -> bool:
        """Whether a cause mostly fails more than one knotter, at a time or in turn."""
        return bool(self._several[self.tables.causes.index(cause)])

    @cached_property
    def _several(self) -> npt.NDArray[np.bool_]:
        tables, which = self.tables, self.base.roles.which
        more = tables.answer_likelihood(which.sign, (which.few, which.wandering, which.all))
        share: Floats = tables.sum_by_cause(tables.branch_share * more)
        return np.asarray(share >= tables.sum_by_cause(tables.branch_share) / 2)

    @cached_property
    def leading(self) -> dict[str, list[str]]:
        """Mechanism -> the causes that lead to it, what nobody wrote down apart."""
        base, rest = self.base, self.base.roles.something_else
        return {
            m: [c for c, body in base.causes.items() if m in body.leads and c != rest]
            for m in base.mechanisms
        }

    def taught(
        self, prior: Mapping[str, float], minutes: Mapping[str, float], confirmed_cases: int
    ) -> Reasoner:
        """The same rules with what a casebook has taught."""
        taught = Reasoner(self.base, prior, minutes, confirmed_cases)
        taught._untaught = self
        return taught
