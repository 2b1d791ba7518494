"""Every solved case through the present rules: was the confirmed cause suspected?

A case is judged by what was known when its first check began: what was seen and logged, no
reading and no result. Each case is judged with chances that its own outcome has not touched:
the rule base's alone, or, with learning, those of the cases solved before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from diagnose.case import Case, Checked, Mended, Proved, Reading
from diagnose.casebook import scores
from diagnose.casebook.learning import taught
from diagnose.errors import InputError
from diagnose.session.judged import Judged, judged
from diagnose.session.reasoner import Reasoner

FIRST = 3
"""So many suspects count as the first ones."""


@dataclass(frozen=True)
class Solved:
    """A case and the cause confirmed in it."""

    case: Case
    cause: str


@dataclass(frozen=True)
class Replay:
    """All solved cases judged, and those that could not be."""

    judged: tuple[Judged, ...]
    causes: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...] = field(default=())
    """(case id, why)."""

    @property
    def first(self) -> int:
        """Cases whose confirmed cause was the first suspect."""
        return sum(one.rank == 1 for one in self.judged)

    @property
    def among_first(self) -> int:
        """Cases whose confirmed cause was among the first `FIRST`."""
        return sum(one.rank <= FIRST for one in self.judged)

    @property
    def brier(self) -> float:
        """Brier score over all causes, 0 best, 2 worst."""
        return scores.brier_score_of_many(self._truth, [one.chances for one in self.judged])

    @property
    def log_score(self) -> float:
        """Mean of -ln of the chance given to the confirmed cause."""
        return scores.log_score_of_many(self._truth, [one.chances for one in self.judged])

    @property
    def _truth(self) -> list[int]:
        return [self.causes.index(one.cause) for one in self.judged]

    def reliability(self, edges: Sequence[float]) -> tuple[scores.Bin, ...]:
        """Reliability of all chances given, one for each case and cause."""
        outcomes = [cause == one.cause for one in self.judged for cause in self.causes]
        return scores.reliability(outcomes, np.ravel([one.chances for one in self.judged]), edges)


def replay(reasoner: Reasoner, cases: Sequence[Solved], learning: bool = False) -> Replay:
    """Judge every case; with `learning`, each by what the cases before it had taught."""
    found, left_out = [], []
    for number, one in enumerate(cases):
        before = [(earlier.case, earlier.cause) for earlier in cases[:number]]
        knowing = taught(reasoner, before, one.case.machine.type) if learning else reasoner
        try:
            found.append(judge(knowing, one))
        except InputError as error:
            left_out.append((one.case.id, str(error)))
    return Replay(tuple(found), tuple(reasoner.base.causes), tuple(left_out))


def judge(reasoner: Reasoner, one: Solved) -> Judged:
    """The suspects before the first check. Raises InputError for ids the rules do not have."""
    if one.cause not in reasoner.base.causes:
        raise InputError(f"the rule base has no cause '{one.cause}'")
    before = judged(reasoner, opening(one.case), one.cause)
    return replace(before, case=one.case)


def opening(case: Case) -> Case:
    """The case as it stood when its first check began."""
    dear = (Checked, Reading, Mended, Proved)
    first = next((n for n, e in enumerate(case.events) if isinstance(e, dear)), len(case.events))
    return case.model_copy(update={"events": case.events[:first]})
