"""The next step of a case, and why this one."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass, replace
from typing import Any, Literal, NamedTuple

import numpy as np

from diagnose.case.protocol import Find, is_open, look_before, opening, phase
from diagnose.case.state import Knotter
from diagnose.case.use import TERMINAL, Use
from diagnose.inference.tables import Posterior
from diagnose.knowledge.acts import (
    again_cautions,
    cautions_of,
    mending_cautions,
    per_knotter,
    place_of,
)
from diagnose.knowledge.model import Knowledge
from diagnose.planner import Option, Outlook, Problem, look_ahead
from diagnose.session.proof import bales_needed, clean_trials_needed, trials_a_bale
from diagnose.session.reasoned import Reasoned
from diagnose.session.reasoner import Reasoner
from diagnose.session.understanding import failure_rate

EQUAL = 9
"""Decimals up to which two knotters are equally worth a look; then the lower number is taken."""
Kind = Literal["safe", "ask", "check", "mend", "prove", "call", "cured"]


@dataclass(frozen=True)
class Other:
    """Another step that could be taken, with expected minutes from now when it goes first."""

    kind: str
    id: str
    total: float


class Proving(NamedTuple):
    """A cause set right whose clean trials are counted."""

    cause: str
    knotter: Knotter
    a_bale: int
    """Trials in one bale."""
    ties: tuple[Knotter, ...]
    """The failing ties that stand behind it."""


@dataclass(frozen=True)
class Step:
    """One thing to do. Minutes are expected, not promised."""

    kind: Kind
    id: str
    minutes: float = 0.0
    """Of the step itself."""
    way: float = 0.0
    """Of getting into its setup from where the technician stands."""
    setup: str | None = None
    expected: float | None = None
    """From now until the fault is found, this step first."""
    saves: float | None = None
    """Of a question: expected minutes of checking it saves, its own minutes already taken off."""
    finds: float | None = None
    """Of a check: chance that it finds the fault."""
    opening: bool = False
    counts: bool = False
    """Of a question: how many clean bales the proof takes rests on it."""
    before: str | None = None
    """Of a look: the act that would destroy it, and is put after it."""
    knotter: Knotter = None
    """Where; None for the whole machine, for all that failed, or while none is named."""
    again: bool = False
    """Put off earlier, or done before and worth a second look."""
    setting: str | None = None
    basis: str = ""
    cautions: tuple[str, ...] = ()
    measure_again: tuple[str, ...] = ()
    trials: int | None = None
    """Of a proof: clean trials in a row that it takes."""
    bales: int | None = None
    """Of a proof: bales that hold so many trials."""
    a_bale: int = 1
    """Of a proof: trials in one bale."""
    rate: float | None = None
    proofs: tuple[Proving, ...] = ()
    """Of a proof: all that it proves, the one that takes most bales first."""
    others: tuple[Other, ...] = ()


def next_step(
    reasoner: Reasoner, reasoned: Reasoned, knotters: int | None, use: Use = TERMINAL
) -> Step:
    """What to do now: make safe, look, set right what is found, prove it, or go on searching."""
    base, state, findings = reasoner.base, reasoned.known.state, reasoned.findings
    if use.stopped and base.roles.make_safe not in state.secured:
        start = base.setups[base.start_setup]
        return Step(
            "safe", base.start_setup, cautions=tuple(start.cautions), basis=str(start.basis)
        )
    match phase(base, state, findings, use):
        case "cured":
            return Step("cured", state.kept[-1].cause)
        case "look":
            look = opening(base, state, findings, use)
            assert look is not None
            return _ask(reasoner, look.sign, state.place, opening=True, knotter=look.knotter)
        case "found":
            return _mend(base, reasoned, findings.found[0])
        case "proving":
            often = base.roles.often.sign
            tie = reasoned.known.ties[0].knotter
            if use.asked(often) and is_open(state, findings, often, tie):
                return _ask(reasoner, often, state.place, counts=True)
            return _proof(base, reasoned, knotters)
    return _search(reasoner, reasoned, use)


def _mend(base: Knowledge, reasoned: Reasoned, find: Find) -> Step:
    settings = base.links.settings_of[find.cause]
    mending = mending_cautions(base, find.cause, find.check)
    tie = reasoned.known.at(find.knotter)
    again = [item for item in tie.conclusions.names("again") if item not in settings]
    return Step(
        "mend",
        find.cause,
        knotter=find.knotter,
        setup=base.checks[find.check].setup,
        setting=settings[0] if settings else None,
        basis=str(base.causes[find.cause].basis),
        cautions=tuple(dict.fromkeys([*mending, *again_cautions(base, find.cause)])),
        measure_again=tuple(dict.fromkeys([*settings, *again])),
    )


def _proof(base: Knowledge, reasoned: Reasoned, knotters: int | None) -> Step:
    """One proof of all that was set right: the count of the one that takes most bales."""
    counts = []
    for repair in reasoned.known.state.proving:
        tie = reasoned.known.at(repair.knotter)
        rate = failure_rate(base, tie.evidence.answers)
        a_bale = trials_a_bale(base.causes[repair.cause], knotters)
        trials = max(1, clean_trials_needed(rate) - repair.clean)
        behind = tuple(k for k, r in reasoned.findings.repaired.items() if r == repair)
        proving = Proving(repair.cause, repair.knotter, a_bale, behind)
        counts.append((bales_needed(trials, a_bale), trials, rate, proving))
    # Where two take as many bales, the one set right last speaks.
    counts.sort(key=lambda count: count[0])
    bales, trials, rate, first = counts[-1]
    return Step(
        "prove",
        first.cause,
        knotter=first.knotter,
        trials=trials,
        bales=bales,
        a_bale=first.a_bale,
        rate=rate,
        proofs=tuple(count[3] for count in reversed(counts)),
        cautions=(*base.setups[base.start_setup].cautions, base.roles.restart),
        basis=str(base.base.basis),
    )


def _ask(reasoner: Reasoner, sign: str, here: str, **more: Any) -> Step:
    base, tables = reasoner.base, reasoner.tables
    body = base.signs[sign]
    there = place_of(base, here, sign)
    way = tables.moves[tables.setups.index(here), tables.setups.index(there)]
    return Step(
        "ask", sign, minutes=tables.minutes[sign], way=float(way), setup=body.setup,
        basis=str(body.basis), cautions=cautions_of(base, sign), **more,
    )  # fmt: skip


def _check(reasoner: Reasoner, check: str, here: str, **more: Any) -> Step:
    base, tables = reasoner.base, reasoner.tables
    body = base.checks[check]
    way = tables.moves[tables.setups.index(here), tables.setups.index(body.setup)]
    setting = base.settings.get(body.setting or "")
    return Step(
        "check", check, minutes=tables.minutes[check], way=float(way), setup=body.setup,
        setting=body.setting, basis=str(setting.basis if setting else body.basis),
        cautions=cautions_of(base, check), **more,
    )  # fmt: skip


def _search(reasoner: Reasoner, reasoned: Reasoned, use: Use) -> Step:
    """The planner's best step; what was put off, and second looks, come when nothing else is."""
    known, ties = reasoned.known, reasoned.open_ties
    state, checks = known.state, list(reasoner.base.checks)
    results = {k: [check for check, _ in known.at(k).evidence.results] for k in ties}
    done = {k: {*results[k], *(c for c in checks if state.is_done(c, k))} for k in ties}
    acts = [*reasoner.base.signs, *checks]
    put_off = {k: {name for name in acts if state.is_put_off(name, k)} for k in ties}
    twice = {k: {check for check in results[k] if results[k].count(check) > 1} for k in ties}
    closed = {k: done[k] | put_off[k] for k in ties}
    outlook = outlook_of(reasoner, reasoned, closed, use)
    again = False
    for fewer in (done, twice):
        if outlook.best.kind != "call":
            break
        closed, again = fewer, True
        outlook = outlook_of(reasoner, reasoned, closed, use)
    base, best = reasoner.base, outlook.best
    others = tuple(_other(base, option) for option in outlook.options if option != best)
    if best.kind == "call":
        return Step("call", "call", expected=best.total, others=others, basis=str(base.base.basis))
    act = _other(base, best).id
    at = _at(reasoner, reasoned, act, [k for k in ties if _is_open(reasoned, act, k, closed)])
    look = look_before(base, state, reasoned.findings, act, at, use)
    if look:
        return _ask(
            reasoner, look.sign, state.place, knotter=look.knotter, before=act, others=others,
            expected=best.total,
        )  # fmt: skip
    if best.kind == "ask":
        return _ask(
            reasoner, act, state.place, knotter=at, again=again, others=others,
            expected=best.total, saves=outlook.checks_only - best.total,
        )  # fmt: skip
    return _check(
        reasoner, act, state.place, knotter=at, again=again, others=others,
        expected=best.total, finds=_finds(reasoner, reasoned, act),
    )  # fmt: skip


def _finds(reasoner: Reasoner, reasoned: Reasoned, check: str) -> float:
    overlooks = reasoner.problem.overlooks[list(reasoner.base.checks).index(check)]
    return float(reasoned.mean.causes @ (1 - overlooks))


def _at(reasoner: Reasoner, reasoned: Reasoned, act: str, ties: list[Knotter]) -> Knotter:
    """The knotter to do it at: where a check finds most likely, and a question tells most.

    None for what is of the whole machine, or while no knotter is named.
    """
    base = reasoner.base
    if not per_knotter(base, act) or not ties:
        return None
    worth = {k: _worth(reasoner, act, reasoned.by_tie[k]) for k in ties}
    return max(ties, key=lambda k: round(worth[k], EQUAL))


def _worth(reasoner: Reasoner, act: str, chances: Posterior) -> float:
    """Of a check: chance that it finds. Of a question: how far its answers move the causes."""
    if act in reasoner.base.checks:
        overlooks = reasoner.problem.overlooks[list(reasoner.base.checks).index(act)]
        return float(chances.causes @ (1 - overlooks))
    tables = reasoner.tables
    answers = tables.sum_by_cause((chances.branches[:, None] * tables.likelihood[act]).T)
    expected = answers.sum(axis=1, keepdims=True) * chances.causes
    return float(np.abs(answers - expected).sum() / 2)


def named_step(reasoner: Reasoner, reasoned: Reasoned, name: str) -> Step:
    """The step a technician chose instead of the best one, weighed like any other."""
    outlook = outlook_of(reasoner, reasoned, {})
    base, state = reasoner.base, reasoned.known.state
    here = state.place
    others = tuple(_other(base, option) for option in outlook.options)
    ties = list(reasoned.open_ties)
    left = [k for k in ties if _is_open(reasoned, name, k, {}) and not state.is_done(name, k)]
    at = _at(reasoner, reasoned, name, left or ties)
    look = look_before(base, state, reasoned.findings, name, at, TERMINAL)
    if look:
        return _ask(reasoner, look.sign, here, knotter=look.knotter, before=name, others=others)
    expected = next((other.total for other in others if other.id == name), None)
    if name in base.signs:
        saves = None if expected is None else outlook.checks_only - expected
        return _ask(reasoner, name, here, knotter=at, expected=expected, saves=saves, others=others)
    finds = _finds(reasoner, reasoned, name)
    return _check(reasoner, name, here, knotter=at, expected=expected, finds=finds, others=others)


def _other(base: Knowledge, option: Option) -> Other:
    kind, index = option.kind, option.index
    names = {"ask": list(base.signs), "check": list(base.checks)}.get(kind)
    return Other(kind, names[index] if names else "call", option.total)


def outlook_of(
    reasoner: Reasoner,
    reasoned: Reasoned,
    closed: Mapping[Knotter, Set[str]],
    use: Use = TERMINAL,
) -> Outlook:
    """All steps weighed, on the mean of the chances at the ties still searched.

    Left out is what is `closed`, told or lost at every one of them.
    """
    base, state, ties = reasoner.base, reasoned.known.state, reasoned.open_ties
    evidence = {k: reasoned.known.at(k).evidence.answers for k in ties}
    partly = {
        sign: answers
        for sign, answers in evidence[ties[0]].items()
        if all(evidence[k].get(sign) == answers for k in ties)
        and not any(_is_settled(reasoned, sign, k) for k in ties)
    }

    def open_somewhere(name: str) -> bool:
        return any(_is_open(reasoned, name, k, closed) for k in ties)

    return look_ahead(
        _narrowed(reasoner, partly),
        reasoned.mean.branches,
        reasoner.tables.setups.index(state.place),
        np.array([open_somewhere(name) for name in base.checks]),
        np.array([use.asked(name) and open_somewhere(name) for name in base.signs]),
    )


def _is_settled(reasoned: Reasoned, sign: str, knotter: Knotter) -> bool:
    """Told at a failing tie, or concluded to a single answer."""
    concluded = reasoned.known.at(knotter).evidence.answers.get(sign, ())
    return sign in reasoned.known.state.answers(knotter) or len(concluded) == 1


def _is_open(
    reasoned: Reasoned, act: str, knotter: Knotter, closed: Mapping[Knotter, Set[str]]
) -> bool:
    """Whether a question or check can still be put at a failing tie."""
    state = reasoned.known.state
    shut = state.is_unknown(act, knotter) or state.is_lost(act, knotter)
    return not (shut or _is_settled(reasoned, act, knotter) or act in closed.get(knotter, ()))


def _narrowed(reasoner: Reasoner, partly: dict[str, tuple[str, ...]]) -> Problem:
    """The problem with the answers of half-known signs cut to those still possible."""
    if not partly:
        return reasoner.problem
    tables, likelihoods = reasoner.tables, []
    for sign, table in zip(reasoner.base.signs, reasoner.problem.likelihoods, strict=True):
        if sign in partly:
            columns = [tables.answers[sign].index(answer) for answer in partly[sign]]
            table = table[:, columns] / table[:, columns].sum(axis=1, keepdims=True)
        likelihoods.append(table)
    return replace(reasoner.problem, likelihoods=tuple(likelihoods))
