"""The next step of a case, and why this one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from diagnose.belief import Posterior
from diagnose.knowledge.acts import (
    again_cautions,
    cautions_of,
    destroyed,
    mending_cautions,
    place_of,
)
from diagnose.knowledge.model import Knowledge
from diagnose.planner import Option, Outlook, Problem, look_ahead
from diagnose.session.proof import bales_needed, clean_trials_needed, trials_a_bale
from diagnose.session.reasoner import Reasoner
from diagnose.session.understanding import Understanding, failure_rate
from diagnose.session.use import TERMINAL, Use

Kind = Literal["safe", "ask", "check", "mend", "prove", "call", "cured"]


@dataclass(frozen=True)
class Other:
    """Another step that could be taken, with expected minutes from now when it goes first."""

    kind: str
    id: str
    total: float


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
    before: str | None = None
    """Of a look: the act that would destroy it, and is put after it."""
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
    others: tuple[Other, ...] = ()


def next_step(
    reasoner: Reasoner,
    known: Understanding,
    posterior: Posterior,
    knotters: int | None,
    use: Use = TERMINAL,
) -> Step:
    """What to do now: make safe, open, mend what is found, prove it, or go on searching."""
    base, g = reasoner.base, known.gathered
    if use.waits and not g.safe:
        start = base.setups[base.start_setup]
        return Step(
            "safe", base.start_setup, cautions=tuple(start.cautions), basis=str(start.basis)
        )
    if g.cured is not None:
        return Step("cured", g.cured.cause)
    if g.mended is not None:
        return _proof(base, known, g.mended, knotters)
    opening = _opening_question(base, known, use)
    if opening:
        return _ask(reasoner, opening, g.setup, opening=True)
    found = _found(base, known, posterior)
    if found:
        return _mend(base, known, found)
    return _search(reasoner, known, posterior, use)


def _opening_question(base: Knowledge, known: Understanding, use: Use) -> str | None:
    if not use.openings:
        return None
    placed = [(s.first, name) for name, s in base.signs.items() if s.first is not None]
    openings = sorted(placed, key=lambda pair: pair[0])
    taken = {*known.evidence.answers, *known.gathered.unknown, *known.gathered.put_off}
    open_ = (name for _, name in openings if name not in taken and use.asked(name))
    return next(open_, None)


def _found(base: Knowledge, known: Understanding, posterior: Posterior) -> str | None:
    """The likeliest cause found and not yet mended."""
    chance, worth = posterior.by_cause, base.standings[base.roles.worth_mending][0]
    by_hand = {cause for _, cause in known.gathered.results if cause}
    measured = {
        cause
        for _, cause in known.evidence.results
        if cause and (cause in by_hand or chance[cause] >= worth)
    }
    return max((c for c in base.causes if c in measured), key=lambda c: chance[c], default=None)


def _mend(base: Knowledge, known: Understanding, cause: str) -> Step:
    settings = base.links.settings_of[cause]
    check = next(c for c, found in known.evidence.results if found == cause)
    mending = mending_cautions(base, cause, check)
    again = [item for item in known.conclusions.names("again") if item not in settings]
    return Step(
        "mend",
        cause,
        setup=base.checks[check].setup,
        setting=settings[0] if settings else None,
        basis=str(base.causes[cause].basis),
        cautions=tuple(dict.fromkeys([*mending, *again_cautions(base, cause)])),
        measure_again=tuple(dict.fromkeys([*settings, *again])),
    )


def _proof(base: Knowledge, known: Understanding, cause: str, knotters: int | None) -> Step:
    rate = failure_rate(base, known.evidence.answers)
    trials = clean_trials_needed(rate)
    a_bale = trials_a_bale(base.causes[cause], knotters)
    return Step(
        "prove", cause, trials=trials, bales=bales_needed(trials, a_bale), a_bale=a_bale, rate=rate,
        cautions=(*base.setups[base.start_setup].cautions, base.roles.restart),
        basis=str(base.base.basis),
    )  # fmt: skip


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


def _search(reasoner: Reasoner, known: Understanding, posterior: Posterior, use: Use) -> Step:
    """The planner's best step; what was put off, and second looks, come when nothing else is."""
    g = known.gathered
    done = {check for check, _ in known.evidence.results} | set(g.done)
    put_off = set(g.put_off)
    outlook = outlook_of(reasoner, known, posterior, done | put_off, use)
    again = False
    looked = [check for check, _ in known.evidence.results]
    looked_twice = {check for check in looked if looked.count(check) > 1}
    for closed in (done, looked_twice):
        if outlook.best.kind != "call":
            break
        outlook = outlook_of(reasoner, known, posterior, closed, use)
        again = True
    base, best = reasoner.base, outlook.best
    others = tuple(_other(base, option) for option in outlook.options if option != best)
    look = _look_before(reasoner, known, best, others, use)
    if look:
        return look
    if best.kind == "ask":
        return _ask(
            reasoner, list(base.signs)[best.index], g.setup, again=again, others=others,
            expected=best.total, saves=outlook.checks_only - best.total,
        )  # fmt: skip
    if best.kind == "check":
        k = best.index
        finds = float(posterior.causes @ (1 - reasoner.problem.overlooks[k]))
        return _check(
            reasoner, list(base.checks)[k], g.setup, again=again, others=others,
            expected=best.total, finds=finds,
        )  # fmt: skip
    return Step("call", "call", expected=best.total, others=others, basis=str(base.base.basis))


def _look_before(
    reasoner: Reasoner,
    known: Understanding,
    option: Option,
    others: tuple[Other, ...],
    use: Use,
) -> Step | None:
    """A look that the option would destroy, and that nobody has taken yet: it goes first."""
    if option.kind not in ("ask", "check"):
        return None
    act = _other(reasoner.base, option).id
    look = look_destroyed(reasoner.base, known, act, use)
    if look is None:
        return None
    return _ask(
        reasoner, look, known.gathered.setup, before=act, others=others, expected=option.total
    )


def look_destroyed(
    base: Knowledge, known: Understanding, act: str, use: Use = TERMINAL
) -> str | None:
    """The first look, in the order of the rules, that an act would destroy and that is open."""
    g = known.gathered
    taken = {*known.evidence.answers, *g.unknown, *g.put_off, *g.lost}
    gone = (sign for sign in destroyed(base, act, g.setup) if sign not in taken)
    return next((sign for sign in gone if use.asked(sign)), None)


def named_step(reasoner: Reasoner, known: Understanding, posterior: Posterior, name: str) -> Step:
    """The step a technician chose instead of the best one, weighed like any other."""
    outlook = outlook_of(reasoner, known, posterior, set())
    base, here = reasoner.base, known.gathered.setup
    others = tuple(_other(base, option) for option in outlook.options)
    look = look_destroyed(base, known, name)
    if look:
        return _ask(reasoner, look, here, before=name, others=others)
    expected = next((other.total for other in others if other.id == name), None)
    if name in base.signs:
        saves = None if expected is None else outlook.checks_only - expected
        return _ask(reasoner, name, here, expected=expected, saves=saves, others=others)
    k = list(base.checks).index(name)
    finds = float(posterior.causes @ (1 - reasoner.problem.overlooks[k]))
    return _check(reasoner, name, here, expected=expected, finds=finds, others=others)


def _other(base: Knowledge, option: Option) -> Other:
    kind, index = option.kind, option.index
    names = {"ask": list(base.signs), "check": list(base.checks)}.get(kind)
    return Other(kind, names[index] if names else "call", option.total)


def outlook_of(
    reasoner: Reasoner,
    known: Understanding,
    posterior: Posterior,
    closed: set[str],
    use: Use = TERMINAL,
) -> Outlook:
    """All steps weighed, leaving out the `closed` ones and the questions already settled."""
    base, g = reasoner.base, known.gathered
    told = {*g.answers, *(sign for tie in g.by_knotter.values() for sign in tie)}
    evidence = known.evidence.answers
    settled = told | {sign for sign, answers in evidence.items() if len(answers) == 1}
    asked = settled | set(g.unknown) | set(g.lost) | closed
    partly = {sign: answers for sign, answers in evidence.items() if sign not in settled}
    return look_ahead(
        _narrowed(reasoner, partly),
        posterior.branches,
        reasoner.tables.setups.index(g.setup),
        np.array([name not in closed for name in base.checks]),
        np.array([name not in asked and use.asked(name) for name in base.signs]),
    )


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
