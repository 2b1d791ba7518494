"""Posterior over causes by exact enumeration of (cause, mechanism) branches, in numpy.

    P(c | evidence) ∝ P(c) Σ_m P(m | c) Π_s P(answer_s | c, m) Π_k P(result_k | c)

Signs are independent given cause and mechanism. A cause's own rule for a sign goes before its
mechanism's; where neither speaks, the sign reads as it usually does. One failed tie; for several
of one bale see `joint`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.inference.graph import CAUSE, CHECK, MECHANISM, SIGN, cause_graph, setup_minutes
from diagnose.inference.likelihood import usual_shares
from diagnose.knowledge.model import Knowledge

Floats = npt.NDArray[np.float64]
Answers = Mapping[str, tuple[str, ...]]
"""Sign -> possible answers (one, or several when it is one of them)."""


@dataclass(frozen=True)
class Evidence:
    """Everything that counts, settled: no don't-knows, derived answers included."""

    answers: Answers = field(default_factory=dict)
    results: tuple[tuple[str, str | None], ...] = ()
    """(check, cause found or None) in the order done; a check may be done again."""
    mended: frozenset[str] = frozenset()
    """Causes set right after which the tie still failed."""
    proof: tuple[str, float] | None = None
    """A cause set right and then proved by clean ties, and the chance that so many would have
    been clean by luck had it been another cause."""


@dataclass(frozen=True)
class Posterior:
    """Chances after the evidence: `causes` (n causes), `branches` (n branches)."""

    tables: Tables
    branches: Floats

    @cached_property
    def causes(self) -> Floats:
        return self.tables.sum_by_cause(self.branches)

    @property
    def by_cause(self) -> dict[str, float]:
        return dict(zip(self.tables.causes, self.causes.tolist(), strict=True))

    @property
    def by_mechanism(self) -> dict[str, float]:
        totals = np.bincount(
            self.tables.branch_mechanism, self.branches, len(self.tables.mechanisms)
        )
        return dict(zip(self.tables.mechanisms, totals.tolist(), strict=True))


class Tables:
    """The rule base as arrays. Branches are the (cause, mechanism) pairs that can happen."""

    def __init__(
        self,
        base: Knowledge,
        prior: Mapping[str, float] | None = None,
        minutes: Mapping[str, float] | None = None,
    ) -> None:
        """`prior` and `minutes` (of checks and signs), where given, go before the rule base's."""
        graph = cause_graph(base)
        self.base = base
        self.causes = tuple(base.causes)
        self.mechanisms = tuple(base.mechanisms)
        weights = [
            (prior or {}).get(name, graph.nodes[CAUSE, name]["prior"]) for name in self.causes
        ]
        self.prior: Floats = np.array(weights) / sum(weights)
        pairs = [
            (c, m, graph.edges[(CAUSE, cause), (MECHANISM, mechanism)]["share"])
            for c, cause in enumerate(self.causes)
            for m, mechanism in enumerate(self.mechanisms)
            if graph.has_edge((CAUSE, cause), (MECHANISM, mechanism))
        ]
        self.branch_cause = np.array([c for c, _, _ in pairs])
        self.branch_mechanism = np.array([m for _, m, _ in pairs])
        self.branch_share: Floats = np.array([share for _, _, share in pairs])
        self.first_branch = np.flatnonzero(np.diff(self.branch_cause, prepend=-1))
        self.answers = {name: tuple(sign.answers) for name, sign in base.signs.items()}
        self.likelihood = {name: self._sign_table(graph, name) for name in base.signs}
        self.checks = tuple(base.checks)
        self.overlooks: Floats = np.ones((len(self.checks), len(self.causes)))
        for k, check in enumerate(self.checks):
            for _, cause in graph.predecessors((CHECK, check)):
                edge = graph.edges[(CAUSE, cause), (CHECK, check)]
                self.overlooks[k, self.causes.index(cause)] = edge["overlooks"]
        self.false_find = base.words[base.roles.false_find]
        stated = {n: s.minutes for n, s in base.signs.items()}
        stated |= {n: c.minutes for n, c in base.checks.items()}
        self.minutes = {n: float((minutes or {}).get(n, m)) for n, m in stated.items()}
        self.setups, self.moves = setup_minutes(base)
        self._prior_of_branches = self.prior[self.branch_cause] * self.branch_share
        self._answered: dict[tuple[str, tuple[str, ...]], Floats] = {}
        self._resulted: dict[tuple[str, str | None], Floats] = {}

    def _sign_table(self, graph: Any, sign: str) -> Floats:
        """P(answer | branch), shape (branches, answers)."""
        answers = self.answers[sign]
        usual = usual_shares(self.base, sign)
        spoken = {
            source: graph.edges[source, target]["shares"]
            for source, target in graph.in_edges((SIGN, sign))
        }
        rows = []
        for c, m in zip(self.branch_cause, self.branch_mechanism, strict=True):
            own = spoken.get((CAUSE, self.causes[c]))
            shares = own or spoken.get((MECHANISM, self.mechanisms[m])) or usual
            rows.append([shares[answer] for answer in answers])
        return np.array(rows)

    def sum_by_cause(self, branches: Floats) -> Floats:
        """Sum over the branches of each cause, along the last axis."""
        summed: Floats = np.add.reduceat(branches, self.first_branch, axis=-1)
        return summed

    def answer_likelihood(self, sign: str, answers: tuple[str, ...]) -> Floats:
        """P(one of the answers | branch), shape (branches,)."""
        if (sign, answers) not in self._answered:
            columns = [self.answers[sign].index(answer) for answer in answers]
            self._answered[sign, answers] = self.likelihood[sign][:, columns].sum(axis=1)
        return self._answered[sign, answers]

    def result_likelihood(self, check: str, found: str | None) -> Floats:
        """P(result of a check | cause), shape (causes,).

        When the true cause is one the check confirms, it is overlooked with its stated chance;
        otherwise the check finds another fault at random with the chance `false_find`.
        """
        if (check, found) not in self._resulted:
            self._resulted[check, found] = self._result_likelihood(check, found)
        return self._resulted[check, found]

    def _result_likelihood(self, check: str, found: str | None) -> Floats:
        k = self.checks.index(check)
        overlooks = self.overlooks[k]
        confirms = np.array([c in self.base.checks[check].confirms for c in self.causes])
        n = int(confirms.sum())
        if found is None:
            wrong = self.false_find if n > 1 else 0.0
            return np.where(confirms, overlooks * (1 - wrong), 1 - self.false_find)
        f = self.causes.index(found)
        among = self.false_find / (n - 1) if n > 1 else 0.0
        chance = np.where(confirms, overlooks * among, self.false_find / n)
        chance[f] = 1 - overlooks[f]
        return chance

    def posterior(self, evidence: Evidence) -> Posterior:
        """Exact posterior. The evidence always has a positive chance, as no share is zero."""
        branches = self._prior_of_branches
        for sign, answers in evidence.answers.items():
            branches = branches * self.answer_likelihood(sign, answers)
        factor = np.ones(len(self.causes))
        for check, found in evidence.results:
            factor *= self.result_likelihood(check, found)
        if evidence.proof is not None:
            cured, luck = evidence.proof
            factor *= np.where(np.array(self.causes) == cured, 1.0, luck)
        for cause in evidence.mended:
            factor[self.causes.index(cause)] = 0.0
        branches = branches * factor[self.branch_cause]
        return Posterior(self, branches / branches.sum())
