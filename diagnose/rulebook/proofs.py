"""What can be proved of a rule base: structure, its named bales, what each rule says.

Named bales are cases: each is run, and its cause has to stand where the bale says. Every rule of
what shows speaks for its target; every rule of what follows does so on its conditions and on
nothing less.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from diagnose.errors import InputError
from diagnose.inference import compile_productions
from diagnose.inference.graph import cause_graph, structural_faults
from diagnose.knowledge.model import Bale, Knowledge, Means
from diagnose.knowledge.references import GRADES, fault_codes
from diagnose.say.text import times_text
from diagnose.session.judged import Judged, case_of, judged
from diagnose.session.reasoner import Reasoner

Given = dict[str, list[tuple[str, ...]]]
"""Facts for the engine: sign, `code` or `grade.SETTING` -> facts, each of possible answers."""
CODE = "code"
ALIKE = 0.02
"""Two causes whose shares of every answer differ by less than this look alike."""

NAMED = 3
"""So many of the suspects that stand before a bale's cause are named."""
MEND = "the words or the bale are wrong"
LESS = "change the condition or drop it"
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
    bales: int
    look_alikes: tuple[tuple[str, str], ...]
    """No question separates them; a check does."""
    inseparable: tuple[tuple[str, str], ...]
    """Neither a question nor a check separates them."""


def prove(reasoner: Reasoner) -> Report:
    """Check structure, run every bale, and name the pairs of causes that look alike."""
    base = reasoner.base
    found = [*structural_faults(cause_graph(base), base)]
    for cause in base.causes:
        found += bale_faults(reasoner, cause)
    found += loose_rules(base)
    found += [(f"shows:{rule}", what) for rule, what in _unspoken(reasoner)]
    bales = sum(len(cause.bales) for cause in base.causes.values())
    faults = tuple(InputError(what, base.places.get(key)) for key, what in found)
    alike = _look_alikes(reasoner)
    inseparable = tuple(pair for pair in alike if not _some_check_separates(base, *pair))
    return Report(faults, bales, tuple(alike), inseparable)


def bale_faults(reasoner: Reasoner, cause: str) -> Iterator[tuple[str, str]]:
    """The named bales of a cause that do not hold: the place of the name, and what is wrong."""
    base = reasoner.base
    bales = base.causes[cause].bales
    if not bales and cause != base.roles.something_else:
        yield f"causes:{cause}", "no bale shows it: name one under 'bales', as you would say it"
    for name, bale in bales.items():
        wrong = what_fails(base, bale, judged(reasoner, case_of(base, name, bale), cause))
        if wrong:
            yield f"causes:{cause}.bales.{name}", f"{wrong}; {MEND}"


def what_fails(base: Knowledge, bale: Bale, found: Judged) -> str:
    """Where the cause stands instead of where the bale says; empty when it holds."""
    here = "first" if found.rank == 1 else f"suspect number {found.rank}"
    if bale.not_among is not None:
        return f"it is {here} (not_among {bale.not_among})" if found.rank <= bale.not_among else ""
    assert bale.rank is not None
    if found.rank > bale.rank:
        first = found.rivals[: min(found.rank - 1, NAMED)]
        before = ", ".join(f"'{base.causes[one].name}'" for one in first)
        return f"it is {here}, after {before} (rank {bale.rank})"
    odds = found.odds(bale.rank)
    if odds >= bale.odds:
        return ""
    rival = base.causes[found.rivals[bale.rank - 1]].name
    likely = f"only {times_text(odds)} times as likely as '{rival}'"
    return f"it is {here}, but {likely} (odds {bale.odds:g})"


def loose_rules(base: Knowledge) -> Iterator[tuple[str, str]]:
    """Rules of what follows that do not follow from their `if`, or follow from less."""
    from diagnose.inference.forward import Engine

    meanings = Engine(p for p in compile_productions(base) if p.stage == "meaning")

    def follows(rule: str, given: Given) -> bool:
        return rule in {fired.id for fired in meanings.conclude(given).fired}

    for name, rule in base.means.items():
        met = {sign: _given(sign, answers) for sign, answers in rule.if_.items()}
        if not follows(name, met):
            yield f"means:{name}", "it does not follow from its own 'if'"
        for what, less in _less(base, rule, met):
            if follows(name, less):
                yield f"means:{name}", f"it follows {what} too: {LESS}"


def _less(base: Knowledge, rule: Means, met: Given) -> Iterator[tuple[str, Given]]:
    """All that just misses the conditions of a rule, and what is missing."""
    for sign, answers in rule.if_.items():
        wanted = [answers] if isinstance(answers, str) else answers
        yield f"without '{sign}'", {name: told for name, told in met.items() if name != sign}
        for other in _answers(base, sign):
            if other not in wanted:
                yield f"with '{sign}: {other}'", met | {sign: [(other,)]}
    for sign, barred in rule.unless.items():
        for answer in [barred] if isinstance(barred, str) else barred:
            told = met.get(sign, []) if sign == CODE else []
            yield f"with '{sign}: {answer}'", met | {sign: [*told, (answer,)]}


def _given(sign: str, answers: str | list[str]) -> list[tuple[str, ...]]:
    """Facts for the engine: one of these answers, or, of codes, the first."""
    told = (answers,) if isinstance(answers, str) else tuple(answers)
    return [told[:1]] if sign == CODE else [told]


def _answers(base: Knowledge, sign: str) -> Iterable[str]:
    """Everything that may be told of a sign, a setting's grade, or as a code."""
    if sign == CODE:
        return fault_codes(base)
    return base.signs[sign].answers if sign in base.signs else GRADES


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
