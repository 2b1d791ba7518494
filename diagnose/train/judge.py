"""The judge: each move against the best one, in the planner's own currency, expected minutes.

Luck is left out. A move loses what it is expected to add to the search, so a lucky guess stays a
guess and a good check that finds nothing stays good.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from diagnose.case import Checked, Mended, Proved, Seen
from diagnose.inference.tables import Floats, Posterior
from diagnose.knowledge.acts import place_of
from diagnose.planner import Outlook, look_ahead
from diagnose.session.reasoner import Reasoner
from diagnose.train.play import Move, Outcome, Played, Position, way_to

NEGLIGIBLE = 1e-4
"""An answer of less chance than this is not followed further."""


@dataclass(frozen=True)
class View:
    """How a position stands: the posterior, and every next step weighed."""

    posterior: Posterior
    outlook: Outlook

    @property
    def suspects(self) -> float:
        """How many suspects are left: 2 to the entropy, so that n suspects alike count n."""
        return float(2 ** entropy(self.posterior.causes))


@dataclass(frozen=True)
class Judgement:
    """One move judged. Rates are bits about the cause for a minute, expected before the move."""

    move: Move
    best: Move
    loss: float
    """Expected minutes that the move adds against the best one, >= 0."""
    minutes: float
    rate: float = 0.0
    best_rate: float = 0.0
    suspects: tuple[float, float] | None = None
    """Before and after; None where the move is no look."""
    chance: float | None = None
    """Of a named cause, when it was named."""
    early: bool = False
    """Named though no check had found it."""
    late: float = 0.0
    """Of a named cause: minutes spent since a check had found it."""


def entropy(chances: Floats) -> float:
    """Of chances (n,) that add up to any total, in bits."""
    p = chances[chances > 0] / chances.sum()
    return float(-(p * np.log2(p)).sum())


class Judge:
    """Weighs positions of one rule base; a position met before is not weighed again."""

    def __init__(self, reasoner: Reasoner) -> None:
        self.tables, self.problem = reasoner.tables, reasoner.problem
        self._views: dict[object, View] = {}

    def view(self, here: Position) -> View:
        """The planner's view of a position. Where nothing new is left, second looks count."""
        key = (frozenset(here.answers), frozenset(here.results), here.mended, here.setup)
        if key not in self._views:
            posterior = self.tables.posterior(here.evidence)
            outlook = self._outlook(here, posterior, here.looked)
            if outlook.best.kind == "call":
                asked = frozenset(sign for sign, _ in here.answers)
                outlook = self._outlook(here, posterior, asked)
            self._views[key] = View(posterior, outlook)
        return self._views[key]

    def _outlook(self, here: Position, posterior: Posterior, closed: frozenset[str]) -> Outlook:
        return look_ahead(
            self.problem,
            posterior.branches,
            self.tables.setups.index(here.setup),
            np.array([check not in closed for check in self.tables.checks]),
            np.array([sign not in closed for sign in self.tables.answers]),
        )

    def best(self, here: Position) -> Move:
        """What the planner would do: name what was found, else its best step."""
        if here.found:
            return Move("name", here.found)
        option = self.view(here).outlook.best
        return self._move(option.kind, option.index)

    def _move(self, kind: str, index: int) -> Move:
        if kind == "ask":
            return Move("ask", list(self.tables.answers)[index])
        return Move("check", self.tables.checks[index]) if kind == "check" else Move("call")

    def judged(self, played: Played) -> tuple[Judgement, ...]:
        """Every move of a case, but for the precautions, which cost nothing."""
        return tuple(self._judged(played))

    def _judged(self, played: Played) -> Iterator[Judgement]:
        before, late = Played.begun(self.tables, played.case), 0.0
        for move, outcome in zip(played.moves, played.outcomes, strict=True):
            after = before.then(self.tables, move)
            if move.kind != "safe" and after.here.end != "unsafe":
                yield self.judge(before.here, move, outcome, after.here, late)
            late = late + outcome.minutes if before.here.found and move.kind != "name" else 0.0
            before = after

    def judge(
        self, before: Position, move: Move, outcome: Outcome, after: Position, late: float = 0.0
    ) -> Judgement:
        """One move. `late`: minutes already spent since the cause had been found."""
        best, minutes = self.best(before), outcome.minutes
        if move.kind == "name":
            return self._named(before, move, best, minutes, late)
        if before.found or move.kind == "hint":
            return Judgement(move, best, minutes, minutes)
        loss = 0.0 if move == best else self._total(before, move) - self._total(before, best)
        if move.kind == "call":
            return Judgement(move, best, max(0.0, loss), minutes)
        # Knowing more never makes a search longer: at worst one walks back and takes the best step.
        most = minutes + way_to(self.tables, after.setup, before.setup)
        asked_before = move.kind == "ask" and move.id in before.looked
        loss = most if asked_before else min(loss, most)
        left = 2 ** entropy(self.tables.posterior(after.evidence).causes)
        return Judgement(
            move, best, max(0.0, loss), minutes, self.rate(before, move), self.rate(before, best),
            (self.view(before).suspects, float(left)),
        )  # fmt: skip

    def _named(
        self, before: Position, move: Move, best: Move, minutes: float, late: float
    ) -> Judgement:
        """What a check found costs nothing; a part changed on suspicion, all of the change."""
        chance = self.tables.posterior(before.evidence).by_cause[move.id]
        if before.found == move.id:
            return Judgement(move, best, 0.0, minutes, chance=chance, late=late)
        if before.found:
            return Judgement(move, best, minutes, minutes, chance=chance, early=True)
        without = before.told(
            Mended(cause=move.id), Proved(cause=move.id, clean_ties=0, failed=True),
            *(Seen(sign=s, answers=(a,)) for s, a in before.answers),
        )  # fmt: skip
        rest = (1 - chance) * self.view(without).outlook.best.total
        loss = minutes + max(0.0, rest - self._total(before, best))
        return Judgement(move, best, loss, minutes, chance=chance, early=True)

    def _total(self, here: Position, move: Move) -> float:
        """Expected minutes from now with this move first and the planner's best step after it.

        Looking one step beyond the planner's own weighing, so that a question put off is not
        counted as one never asked.
        """
        if move.kind == "call":
            return self.problem.call
        base, tables, view = self.tables.base, self.tables, self.view(here)
        there = place_of(base, here.setup, move.id)
        cost = way_to(tables, here.setup, there) + tables.minutes[move.id]
        if move.kind == "ask":
            chances: list[float] = (view.posterior.branches @ tables.likelihood[move.id]).tolist()
            for answer, chance in zip(tables.answers[move.id], chances, strict=True):
                if chance > NEGLIGIBLE:
                    told = here.told(Seen(sign=move.id, answers=(answer,)))
                    cost += chance * self._least(told)
            return cost
        missed = float(view.posterior.causes @ tables.overlooks[tables.checks.index(move.id)])
        nothing = here.told(Checked(check=move.id))
        return cost + missed * self._least(nothing)

    def _least(self, here: Position) -> float:
        return self.view(here).outlook.best.total

    def rate(self, here: Position, move: Move) -> float:
        """Expected bits about the cause for each minute of a question or check, else 0."""
        if move.kind not in ("ask", "check") or (move.kind == "ask" and move.id in here.looked):
            return 0.0
        tables, posterior = self.tables, self.view(here).posterior
        there = place_of(tables.base, here.setup, move.id)
        minutes = way_to(tables, here.setup, there) + tables.minutes[move.id]
        if move.kind == "ask":
            columns = tables.likelihood[move.id].T
            after = [tables.sum_by_cause(posterior.branches * column) for column in columns]
        else:
            after = [posterior.causes * tables.overlooks[tables.checks.index(move.id)]]
        left = sum(float(part.sum()) * entropy(part) for part in after if part.sum() > 0)
        return max(0.0, entropy(posterior.causes) - left) / minutes


def score(judgements: tuple[Judgement, ...]) -> int:
    """0 to 100: the share of the minutes spent that was not lost."""
    minutes = sum(judgement.minutes for judgement in judgements)
    loss = sum(judgement.loss for judgement in judgements)
    return round(100 * max(0.0, 1 - loss / minutes)) if minutes else 0
