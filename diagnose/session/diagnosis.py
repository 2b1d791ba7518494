"""Everything a user is told about a case: suspects with reasons, what is cleared, the next step."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diagnose.case import Case
from diagnose.case.state import Knotter
from diagnose.case.use import TERMINAL, Use
from diagnose.inference.tables import Posterior
from diagnose.knowledge.model import Knowledge
from diagnose.session.reasoned import Reasoned, reason
from diagnose.session.reasoner import Reasoner
from diagnose.session.step import Step, next_step
from diagnose.session.understanding import Tie, Understanding

EQUAL_CHANCE = 12
"""Decimals of a chance up to which two suspects stand alike, and as the rules name them."""
AUDIBLE = 1.0
"""A reason weaker than this many decibans (odds moved by a quarter) is not named."""


@dataclass(frozen=True)
class Reason:
    """One thing that speaks for (`decibans` > 0) or against a cause."""

    source: str
    """Id of the rule or check."""
    what: str
    """The answer or result, in the words of the rule base."""
    why: str
    decibans: float
    own: bool = False
    """It is somebody's own rule."""


@dataclass(frozen=True)
class Suspect:
    """A cause and how it stands now."""

    id: str
    standing: str
    chance: float
    mechanism: str
    """The mechanism it would most likely have acted through."""
    because: tuple[Reason, ...]
    against: tuple[Reason, ...]
    only_one: bool
    """No other cause in the rule base leads to that mechanism, something else apart."""


@dataclass(frozen=True)
class Diagnosis:
    """A case reasoned through. `suspects` are all causes not mended, likeliest first."""

    case: Case
    reasoned: Reasoned
    suspects: tuple[Suspect, ...]
    """At the ties still searched; with several, each cause where it is likeliest."""
    by_knotter: Mapping[int, tuple[Suspect, ...]]
    """Suspects at each failing tie, where several are named."""
    cleared: tuple[tuple[str, str], ...]
    """(cause, the check that cleared it or `mended`)."""
    step: Step
    confirmed_cases: int

    @property
    def known(self) -> Understanding:
        return self.reasoned.known

    @property
    def posterior(self) -> Posterior:
        """What the next step is weighed on: see `Reasoned.mean`."""
        return self.reasoned.mean


def diagnose(reasoner: Reasoner, case: Case, use: Use = TERMINAL) -> Diagnosis:
    """Reason a case through from its events; the same events always give the same result."""
    reasoned = reason(reasoner, case)
    by_knotter = {
        knotter: _suspects(reasoner, reasoned, chances, {knotter: chances})
        for knotter, chances in reasoned.by_tie.items()
        if knotter is not None and len(reasoned.by_tie) > 1
    }
    searched = {k: reasoned.by_tie[k] for k in reasoned.open_ties}
    return Diagnosis(
        case=case,
        reasoned=reasoned,
        suspects=_suspects(reasoner, reasoned, reasoned.mean, searched),
        by_knotter=by_knotter,
        cleared=_cleared(reasoner.base, reasoned.known),
        step=next_step(reasoner, reasoned, case.machine.knotters, use),
        confirmed_cases=reasoner.confirmed_cases,
    )


def standing(base: Knowledge, chance: float) -> str:
    """The word for a chance: the first of the base's standings that it reaches."""
    return next(word for word, (least, _) in base.standings.items() if chance >= least)


def _suspects(
    reasoner: Reasoner,
    reasoned: Reasoned,
    chances: Posterior,
    ties: Mapping[Knotter, Posterior],
) -> tuple[Suspect, ...]:
    """Suspects by `chances`; mechanism and reasons from the tie where a cause is likeliest."""
    base, tables = reasoner.base, reasoner.tables
    by_cause = chances.by_cause
    at_tie = {k: posterior.by_cause for k, posterior in ties.items()}
    suspects = []
    for c, cause in enumerate(tables.causes):
        known = [k for k in ties if cause not in reasoned.known.at(k).evidence.mended]
        if not known:
            continue
        there = max(known, key=lambda k: round(at_tie[k][cause], EQUAL_CHANCE))
        branches = np.flatnonzero(tables.branch_cause == c)
        likeliest = branches[ties[there].branches[branches].argmax()]
        mechanism = tables.mechanisms[tables.branch_mechanism[likeliest]]
        alone = reasoned.one_cause is None or reasoned.known.which is not None
        reasons = _reasons(reasoner, reasoned.known.at(there), cause, mechanism, alone)
        suspects.append(
            Suspect(
                id=cause,
                standing=standing(base, by_cause[cause]),
                chance=by_cause[cause],
                mechanism=mechanism,
                because=tuple(r for r in reasons if r.decibans >= AUDIBLE),
                against=tuple(r for r in reversed(reasons) if r.decibans <= -AUDIBLE),
                only_one=reasoner.leading[mechanism] == [cause],
            )
        )
    return tuple(sorted(suspects, key=lambda s: -round(s.chance, EQUAL_CHANCE)))


def _reasons(
    reasoner: Reasoner, known: Tie, cause: str, mechanism: str, alone: bool
) -> list[Reason]:
    """What the engine's rules said of a cause, strongest support first, then strongest against."""
    base = reasoner.base
    own = reasoner.own_signs[cause]
    # How many fail speaks of a cause behind all, not of one cause at one of several ties.
    shown = () if alone else (base.roles.which.sign,)
    reasons = [
        Reason(
            weight.rule,
            answer_text(base, weight.sign, tuple(weight.answer.split("|"))),
            base.shows[weight.rule].why,
            weight.decibans,
            f"shows:{weight.rule}" in base.own,
        )
        for weight in known.conclusions.weights
        if weight.sign not in shown
        and (weight.target == cause or (weight.target == mechanism and weight.sign not in own))
    ]
    c = reasoner.tables.causes.index(cause)
    for check, found in known.evidence.results:
        chance = reasoner.tables.result_likelihood(check, found)
        others = np.delete(chance, c).mean()
        what = f"found: {base.causes[found].name}" if found else "nothing wrong found"
        weight = 10 * math.log10(chance[c] / others)
        reasons.append(Reason(check, f"{base.checks[check].do} {what}", "", weight))
    return sorted(reasons, key=lambda r: -r.decibans)


def answer_text(base: Knowledge, sign: str, answers: tuple[str, ...]) -> str:
    """An answer in the words of the rule base, e.g. `which knotters fail: always the same one`."""
    body = base.signs[sign]
    given = " or else ".join(body.answers[answer] for answer in answers)
    return f"{body.ask.rstrip('?')}: {given}"


def _cleared(base: Knowledge, known: Understanding) -> tuple[tuple[str, str], ...]:
    """What nothing speaks for any more at any failing tie."""
    cleared: list[dict[str, str]] = []
    for tie in known.ties:
        here = dict.fromkeys(known.state.cleared_at(tie.knotter), "mended")
        for check, found in tie.evidence.results:
            if found is None:
                for cause in base.checks[check].confirms:
                    here.setdefault(cause, check)
        cleared.append(here)
    return tuple((c, by) for c, by in cleared[0].items() if all(c in here for here in cleared))
