"""What can be proved of a rule base: structure, its rules' own cases, what nothing tells apart."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from diagnose.belief import Evidence, Posterior
from diagnose.engine import Conclusions
from diagnose.errors import InputError
from diagnose.graph import cause_graph, structural_faults
from diagnose.knowledge.model import Cause, Knowledge, Known, Means, Shows
from diagnose.session.reasoner import Reasoner

FIRST = 5
"""A cause's own cases ask whether it stands among so many first suspects."""
ALIKE = 0.02
"""Two causes whose shares of every answer differ by less than this look alike."""


AGAINST = (
    "'{answer}' is meant to speak against it, and is met {odds:.1f} times as often as with other "
    "faults: say a rarer word, or take it from 'against'"
)
RARER = (
    "'{answer}' is met more often with other faults, so this speaks against yours: say a stronger "
    "word, name it under 'against', or drop the rule"
)


@dataclass(frozen=True)
class Report:
    """Faults (none in a sound base), and pairs of causes that questions alone cannot tell apart."""

    faults: tuple[InputError, ...]
    cases: int
    look_alikes: tuple[tuple[str, str], ...]
    """No question separates them; a check does."""
    inseparable: tuple[tuple[str, str], ...]
    """Neither a question nor a check separates them."""


def prove(reasoner: Reasoner) -> Report:
    """Check structure, run every case, and name the pairs of causes that look alike."""
    base = reasoner.base
    found = [*structural_faults(cause_graph(base), base)]
    cases = list(_cases(reasoner))
    found += [(key, what) for key, what in cases if what]
    found += [(f"shows:{rule}", what) for rule, what in _unspoken(reasoner)]
    faults = tuple(InputError(what, base.places.get(key)) for key, what in found)
    alike = _look_alikes(reasoner)
    inseparable = tuple(pair for pair in alike if not _some_check_separates(base, *pair))
    return Report(faults, len(cases), tuple(alike), inseparable)


def conclude_from(reasoner: Reasoner, known: Known) -> tuple[Conclusions, Posterior]:
    """Run engine and tables on plain evidence: sign, `code` or `grade.SETTING` -> answers."""
    given: dict[str, list[tuple[str, ...]]] = {}
    for sign, answer in known.items():
        answers = (answer,) if isinstance(answer, str) else tuple(answer)
        given[sign] = [(a,) for a in answers] if sign == "code" else [answers]
    conclusions = reasoner.conclude(given)
    results = tuple(
        (check, None if cause == "-" else cause) for check, cause in conclusions.facts("result")
    )
    evidence = Evidence(answers=conclusions.evidence, results=results)
    return conclusions, reasoner.tables.posterior(evidence)


def _cases(reasoner: Reasoner) -> Iterator[tuple[str, str]]:
    """Every case of every rule: its `kind:id` and what is wrong, empty when it holds."""
    base = reasoner.base
    nothing = reasoner.tables.posterior(Evidence())
    prior = nothing.by_cause | nothing.by_mechanism
    groups: list[tuple[str, dict[str, Shows] | dict[str, Means] | dict[str, Cause]]] = [
        ("shows", base.shows), ("means", base.means), ("causes", base.causes),
    ]  # fmt: skip
    for kind, items in groups:
        for name, item in items.items():
            holds = _expectation(reasoner, kind, name, item, prior)
            for side, cases, expected in (("fits", item.fits, True), ("not", item.not_, False)):
                for case in cases:
                    told = holds(case)
                    wrong = told[0] is not expected
                    yield (
                        f"{kind}:{name}",
                        (
                            f"{name}: its case '{side}: {_shown(case)}' fails, {told[1]}"
                            if wrong
                            else ""
                        ),
                    )


def _expectation(
    reasoner: Reasoner, kind: str, name: str, item: object, prior: dict[str, float]
) -> Callable[[Known], tuple[bool, str]]:
    if kind == "shows":
        return lambda case: gains(reasoner, name.partition("/")[0], case, prior)
    if kind == "means":
        assert isinstance(item, Means)
        return lambda case: _follows(reasoner, item, case)
    return lambda case: _stands_first(reasoner, name, case)


def gains(
    reasoner: Reasoner, target: str, case: Known, prior: dict[str, float]
) -> tuple[bool, str]:
    """Whether a mechanism or a cause is likelier with the case than `prior`, and what it was."""
    _, posterior = conclude_from(reasoner, case)
    chance = (posterior.by_cause | posterior.by_mechanism)[target]
    return chance > prior[target], f"the chance goes from {prior[target]:.4f} to {chance:.4f}"


def _follows(reasoner: Reasoner, rule: Means, case: Known) -> tuple[bool, str]:
    conclusions, _ = conclude_from(reasoner, case)
    derived = {sign: answer for sign, answer in conclusions.facts("derived") if sign in rule.then}
    follows = all(
        (sign, answer) in conclusions.facts("derived") for sign, answer in rule.then.items()
    )
    return follows, f"what follows is {derived or 'nothing'}"


def _stands_first(reasoner: Reasoner, cause: str, case: Known) -> tuple[bool, str]:
    _, posterior = conclude_from(reasoner, case)
    order = sorted(posterior.by_cause, key=lambda c: -posterior.by_cause[c])
    place = order.index(cause) + 1
    return place <= FIRST, f"it is suspect number {place} after {', '.join(order[:3])}"


def _shown(case: Known) -> str:
    return ", ".join(
        f"{sign} {answer if isinstance(answer, str) else ' or '.join(answer)}"
        for sign, answer in case.items()
    )


def _unspoken(reasoner: Reasoner) -> Iterator[tuple[str, str]]:
    """Rules that do not say what they are for: see `Shows.against`."""
    words = reasoner.base.words
    for rule, body in reasoner.base.shows.items():
        odds = answer_odds(reasoner, rule)
        if all(abs(one - 1) < ALIKE for one in odds.values()):
            yield rule, "every answer is met as often with other faults: it says nothing, drop it"
        for answer in body.against:
            if odds[answer] >= 1:
                yield rule, AGAINST.format(answer=answer, odds=odds[answer])
        meant = {a: words[word] for a, word in body.answers.items() if a not in body.against}
        strongest = max(meant, key=meant.__getitem__, default=None)
        if strongest is not None and odds[strongest] <= 1:
            yield rule, RARER.format(answer=strongest)


def answer_odds(reasoner: Reasoner, rule: str) -> dict[str, float]:
    """How many times as likely each answer that a rule names is under its target as on average

    over all other branches, weighted by their prior. Of a mechanism: over other mechanisms.
    """
    tables, (target, sign) = reasoner.tables, reasoner.base.links.spoken[rule]
    if target in tables.causes:
        own = tables.branch_cause == tables.causes.index(target)
    else:
        own = tables.branch_mechanism == tables.mechanisms.index(target)
    prior = tables.prior[tables.branch_cause] * tables.branch_share
    likely = tables.likelihood[sign]
    mine = np.average(likely[own], axis=0, weights=prior[own])
    others = np.average(likely[~own], axis=0, weights=prior[~own])
    odds = dict(zip(tables.answers[sign], (mine / others).tolist(), strict=True))
    return {answer: odds[answer] for answer in reasoner.base.shows[rule].answers}


def _look_alikes(reasoner: Reasoner) -> list[tuple[str, str]]:
    """Pairs of causes whose answers are shared alike for every sign, mechanisms summed over."""
    tables = reasoner.tables
    profiles = np.concatenate(
        [
            tables.sum_by_cause((tables.branch_share[:, None] * tables.likelihood[sign]).T).T
            for sign in reasoner.base.signs
        ],
        axis=1,
    )
    return [
        (tables.causes[i], tables.causes[j])
        for i, j in combinations(range(len(tables.causes)), 2)
        if np.abs(profiles[i] - profiles[j]).max() < ALIKE
        and tables.base.roles.something_else not in (tables.causes[i], tables.causes[j])
    ]


def _some_check_separates(base: Knowledge, one: str, other: str) -> bool:
    """A check that confirms only one of them, or measures which side of its band it is."""
    return any(
        (one in check.confirms) is not (other in check.confirms)
        or (one in check.confirms and check.setting is not None)
        for check in base.checks.values()
    )
