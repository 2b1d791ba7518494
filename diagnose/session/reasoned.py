"""What a case leaves to believe at each of its failing ties, and what stands found there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diagnose.case import Case
from diagnose.case.protocol import Find, Findings
from diagnose.case.state import Knotter, Repair
from diagnose.inference.joint import Joint
from diagnose.inference.tables import Posterior
from diagnose.session.reasoner import Reasoner
from diagnose.session.understanding import Understanding, understand

EXPLAINED = 0.5
"""A cause set right at one knotter, and of the kind that hits several, stands for another failing
tie when it is at least so likely there. Judgement, as tried out on drawn bales."""


@dataclass(frozen=True)
class Reasoned:
    """A case reasoned through, before anything is chosen."""

    known: Understanding
    by_tie: Mapping[Knotter, Posterior]
    mean: Posterior
    """Over the ties for which nothing is set right yet: what the next step is weighed on."""
    one_cause: float | None
    """Chance that one cause is behind all failing ties; None with a single one."""
    findings: Findings

    @property
    def open_ties(self) -> tuple[Knotter, ...]:
        """The ties still searched; all of them when nothing is left to search."""
        return self.findings.uncovered or tuple(self.by_tie)


def reason(reasoner: Reasoner, case: Case) -> Reasoned:
    """Evidence and belief by tie. Raises InputError for ids the rule base does not know."""
    known, tables = understand(reasoner, case), reasoner.tables
    one_cause = None
    by_tie: dict[Knotter, Posterior] = {}
    if len(known.ties) == 1:
        by_tie[known.ties[0].knotter] = tables.posterior(known.evidence)
    else:
        joint = Joint(tables, known.bale)
        one_cause = joint.one_cause
        by_tie |= {tie.knotter: joint.of(tie.knotter or 0) for tie in known.ties}
    repaired = {k: _repair(reasoner, known, k, chances) for k, chances in by_tie.items()}
    uncovered = [k for k, repair in repaired.items() if repair is None] or list(by_tie)
    settled = {tie.knotter: frozenset(tie.evidence.answers) for tie in known.ties}
    found = _found(reasoner, known, by_tie)
    rows = np.array([by_tie[k].branches for k in uncovered])
    return Reasoned(
        known=known,
        by_tie=by_tie,
        mean=by_tie[uncovered[0]] if len(rows) == 1 else Posterior(tables, rows.mean(axis=0)),
        one_cause=one_cause,
        findings=Findings(settled, tuple(found), repaired),
    )


def _repair(
    reasoner: Reasoner, known: Understanding, knotter: Knotter, chances: Posterior
) -> Repair | None:
    """The last cause set right behind which a failing tie stands."""
    state = known.state
    several = len(known.ties) > 1
    for repair in reversed([*state.kept, *state.proving]):
        if repair.number <= state.since[knotter]:
            continue
        if repair.knotter == knotter or not several:
            return repair
        likely = chances.by_cause[repair.cause] >= EXPLAINED
        if likely and (repair.knotter is None or reasoner.hits_several(repair.cause)):
            return repair
    return None


def _found(
    reasoner: Reasoner, known: Understanding, by_tie: Mapping[Knotter, Posterior]
) -> list[Find]:
    """What a check found, or a reading where it stands likely enough, and is not set right."""
    base, state = reasoner.base, known.state
    worth = base.standings[base.roles.worth_mending][0]
    chances: dict[Find, float] = {}
    for tie in known.ties:
        by_cause = by_tie[tie.knotter].by_cause
        for (check, cause), own in zip(tie.evidence.results, tie.own, strict=True):
            if not cause or not (cause in tie.by_hand or by_cause[cause] >= worth):
                continue
            find = Find(cause, check, tie.knotter if own else None)
            if not any(_sets_right(r, find) for r in (*state.proving, *state.kept)):
                chances[find] = max(by_cause[cause], chances.get(find, 0.0))
    first: dict[tuple[str, Knotter], Find] = {}
    for find in chances:
        first.setdefault((find.cause, find.knotter), find)
    causes = list(base.causes)
    return sorted(first.values(), key=lambda f: (-chances[f], causes.index(f.cause)))


def _sets_right(repair: Repair, find: Find) -> bool:
    either = None in (repair.knotter, find.knotter)
    return repair.cause == find.cause and (either or repair.knotter == find.knotter)
