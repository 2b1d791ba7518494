"""Everything a user is told about a case: suspects with reasons, what is cleared, the next step."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diagnose.belief import Posterior
from diagnose.case import Case
from diagnose.knowledge.model import Knowledge
from diagnose.session.reasoner import Reasoner
from diagnose.session.step import Step, next_step
from diagnose.session.understanding import Understanding, understand
from diagnose.session.use import TERMINAL, Use

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
    known: Understanding
    posterior: Posterior
    suspects: tuple[Suspect, ...]
    cleared: tuple[tuple[str, str], ...]
    """(cause, the check that cleared it or `mended`)."""
    step: Step
    confirmed_cases: int


def diagnose(reasoner: Reasoner, case: Case, use: Use = TERMINAL) -> Diagnosis:
    """Reason a case through from its events; the same events always give the same result."""
    known = understand(reasoner, case)
    posterior = reasoner.tables.posterior(known.evidence)
    return Diagnosis(
        case=case,
        known=known,
        posterior=posterior,
        suspects=_suspects(reasoner, known, posterior),
        cleared=_cleared(reasoner.base, known),
        step=next_step(reasoner, known, posterior, case.machine.knotters, use),
        confirmed_cases=reasoner.confirmed_cases,
    )


def standing(base: Knowledge, chance: float) -> str:
    """The word for a chance: the first of the base's standings that it reaches."""
    return next(word for word, (least, _) in base.standings.items() if chance >= least)


def _suspects(
    reasoner: Reasoner, known: Understanding, posterior: Posterior
) -> tuple[Suspect, ...]:
    base, tables = reasoner.base, reasoner.tables
    chances = posterior.by_cause
    leading = {
        m: [
            c
            for c, body in base.causes.items()
            if m in body.leads and c != base.roles.something_else
        ]
        for m in base.mechanisms
    }
    suspects = []
    for c, cause in enumerate(tables.causes):
        if cause in known.evidence.mended:
            continue
        branches = np.flatnonzero(tables.branch_cause == c)
        likeliest = branches[posterior.branches[branches].argmax()]
        mechanism = tables.mechanisms[tables.branch_mechanism[likeliest]]
        reasons = _reasons(reasoner, known, cause, mechanism)
        suspects.append(
            Suspect(
                id=cause,
                standing=standing(base, chances[cause]),
                chance=chances[cause],
                mechanism=mechanism,
                because=tuple(r for r in reasons if r.decibans >= AUDIBLE),
                against=tuple(r for r in reversed(reasons) if r.decibans <= -AUDIBLE),
                only_one=leading[mechanism] == [cause],
            )
        )
    return tuple(sorted(suspects, key=lambda s: -round(s.chance, EQUAL_CHANCE)))


def _reasons(reasoner: Reasoner, known: Understanding, cause: str, mechanism: str) -> list[Reason]:
    """What the engine's rules said of a cause, strongest support first, then strongest against."""
    base = reasoner.base
    own = reasoner.own_signs[cause]
    reasons = [
        Reason(
            weight.rule,
            answer_text(base, weight.sign, tuple(weight.answer.split("|"))),
            base.shows[weight.rule].why,
            weight.decibans,
            f"shows:{weight.rule}" in base.own,
        )
        for weight in known.conclusions.weights
        if weight.target == cause or (weight.target == mechanism and weight.sign not in own)
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
    cleared = dict.fromkeys(known.gathered.failed_again, "mended")
    for check, found in known.evidence.results:
        if found is None:
            for cause in base.checks[check].confirms:
                cleared.setdefault(cause, check)
    return tuple(cleared.items())
