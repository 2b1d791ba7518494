"""From a case's events to settled evidence: what counts, what is open, what contradicts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from diagnose.belief import Evidence
from diagnose.case import (
    Case,
    Checked,
    Event,
    Logged,
    MadeSafe,
    Mended,
    NotKnown,
    NotNow,
    Proved,
    Reading,
    Seen,
)
from diagnose.engine import Conclusions
from diagnose.errors import EventError, InputError, nearest
from diagnose.grading import POSSIBLE, grade
from diagnose.knowledge.acts import destroyed, place_after, runs
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.references import fault_codes
from diagnose.knowledge.roles import Which
from diagnose.session.proof import by_luck
from diagnose.session.reasoner import Reasoner

UNFIT = 0.5
"""A reading's cause does not fit when what was told of the failed tie has left it less than this
share of the chance it had before anything was told. Judgement: such a tie is at least twice as
common with the other causes."""


@dataclass
class Gathered:
    """What the events say, before anything is concluded."""

    safe: bool = False
    answers: dict[str, tuple[str, ...]] = field(default_factory=dict)
    by_knotter: dict[int, dict[str, tuple[str, ...]]] = field(default_factory=dict)
    unknown: list[str] = field(default_factory=list)
    put_off: list[str] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    codes: list[str] = field(default_factory=list)
    results: list[tuple[str, str | None]] = field(default_factory=list)
    done: list[str] = field(default_factory=list)
    mended: str | None = None
    """A cause set right whose proof is still open."""
    aside: list[str] = field(default_factory=list)
    """Causes set right though the tie did not fit them; the next proof is of these too."""
    failed_again: list[str] = field(default_factory=list)
    cured: Proved | None = None
    setup: str = ""
    lost: set[str] = field(default_factory=set)
    """Signs that an act has destroyed: nobody can look at them any more at this tie."""
    begun: bool = False


@dataclass(frozen=True)
class Contradiction:
    """Two things that cannot both be so; what was told stands, and the search goes on."""

    told: str
    """`sign: answer` as given."""
    rule: str
    """The Means rule that says otherwise."""
    because: tuple[str, ...]
    """The answers that rule rests on, as `sign: answer`."""


@dataclass(frozen=True)
class Doubtful:
    """A reading that is no find: out of its band and not fitting the tie, or on a limit."""

    setting: str
    cause: str | None
    """What it would be set right for; None on a limit, where it says nothing either way."""


@dataclass(frozen=True)
class Understanding:
    """Settled evidence and the state of the search."""

    gathered: Gathered
    evidence: Evidence
    conclusions: Conclusions
    contradictions: tuple[Contradiction, ...]
    doubtful: tuple[Doubtful, ...] = ()


def understand(reasoner: Reasoner, case: Case) -> Understanding:
    """Read a case from its first event. Raises InputError for ids the rule base does not know."""
    base = reasoner.base
    gathered = gather(base, case)
    given = _given(base, gathered, case)
    cleared = [*gathered.failed_again, *_surely_cleared(base, gathered)]
    found = [gathered.mended] if gathered.mended else []
    reported = _reported(base, gathered)
    found += [cause for _, cause in (*gathered.results, *reported) if cause]
    conclusions = reasoner.conclude(given, cleared=cleared, found=found)
    results = list(gathered.results)
    set_right = {gathered.mended, gathered.cured.cause if gathered.cured else None}
    done = {check for check, found in results if found in set_right}
    read = [
        (check, None if cause == "-" else cause)
        for check, cause in _by_place(base, conclusions.facts("result"))
        if cause not in gathered.failed_again and check not in done
    ]
    unfit = _unfit(reasoner, gathered, conclusions, [cause for _, cause in read if cause])
    results += [(check, cause) for check, cause in read if cause not in unfit]
    results += [find for find in reported if find not in results and find[1] not in set_right]
    evidence = Evidence(
        answers=conclusions.evidence,
        other_ties=tuple(gathered.by_knotter[k] for k in sorted(gathered.by_knotter)[1:]),
        results=tuple(results),
        mended=frozenset(gathered.failed_again),
        proof=_proof(base, gathered, conclusions),
    )
    doubtful = [
        Doubtful(base.checks[check].setting or "", cause) for check, cause in read if cause in unfit
    ]
    doubtful += [Doubtful(setting, None) for setting in _on_limit(base, gathered)]
    clashes = _contradictions(base, conclusions, given)
    return Understanding(gathered, evidence, conclusions, clashes, tuple(doubtful))


def _reported(base: Knowledge, g: Gathered) -> list[tuple[str, str]]:
    """What a controller found by testing its own circuit, as its first finder would find it."""
    causes = [cause for code in g.codes if (cause := base.codes[code].finds)]
    known = (cause for cause in dict.fromkeys(causes) if cause not in g.failed_again)
    return [(base.links.finders[cause][0], cause) for cause in known]


def _by_place(base: Knowledge, results: Iterable[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Results in the order in which the rules name their checks and causes."""
    checks, causes = list(base.checks), [*base.causes, "-"]
    return sorted(results, key=lambda pair: (checks.index(pair[0]), causes.index(pair[1])))


def _unfit(
    reasoner: Reasoner, g: Gathered, conclusions: Conclusions, measured: list[str]
) -> set[str]:
    """Causes that a reading speaks for and the failed tie speaks against: see UNFIT."""
    if not measured:
        return set()
    signs, tables = reasoner.base.signs, reasoner.tables
    told = {
        sign: answers
        for sign, answers in conclusions.evidence.items()
        if sign in signs and signs[sign].scope == "tie"
    }
    by_hand = {cause for _, cause in g.results}
    before = tables.posterior(Evidence({})).by_cause
    after = tables.posterior(Evidence(answers=told)).by_cause
    return {c for c in measured if after[c] < UNFIT * before[c]} - by_hand


def _on_limit(base: Knowledge, g: Gathered) -> list[str]:
    """Settings with a reading that is neither in nor out with its gauge."""
    graded = (
        (r, grade(base.settings[r.setting], r.value, r.unit, r.uncertainty)) for r in g.readings
    )
    return list(dict.fromkeys(r.setting for r, name in graded if len(POSSIBLE[name]) > 1))


def gather(base: Knowledge, case: Case) -> Gathered:
    """Fold the events; a later answer to the same question replaces the earlier one.

    Raises EventError for one that cannot be.
    """
    g = Gathered(setup=base.start_setup)
    for number, event in enumerate(case.events, 1):
        try:
            _on_machine(case, event)
            _take(base, g, event)
        except InputError as error:
            raise EventError(error, number, getattr(event, "kind", "")) from None
    return g


def refuse_unfit(base: Knowledge, case: Case, event: Event) -> None:
    """Raises InputError, without a word of events, for one that the case cannot hold."""
    _on_machine(case, event)
    _take(base, Gathered(setup=base.start_setup), event)


def _on_machine(case: Case, event: Any) -> None:
    knotter, knotters = getattr(event, "knotter", None), case.machine.knotters
    if knotter and knotters and knotter > knotters:
        raise InputError(f"knotter {knotter} on a machine of {knotters}", key="knotter")


def _take(base: Knowledge, g: Gathered, event: Any) -> None:
    match event:
        case MadeSafe():
            g.safe = True
            g.setup = base.start_setup  # a sheet taken in before it was measured another time
            if not g.begun:
                g.lost.clear()
            g.begun = True
        case Seen():
            _known("sign", "sign", event.sign, base.signs)
            for answer in event.answers:
                _known_answer(event.sign, answer, base.signs[event.sign].answers)
            tie = g.answers
            if event.knotter is not None:
                tie = g.by_knotter.setdefault(event.knotter, {})
            tie[event.sign] = event.answers
            _no_longer_open(g, event.sign)
            _done(base, g, event.sign)
        case NotKnown():
            _known("sign", "sign", event.sign, base.signs)
            _no_longer_open(g, event.sign)
            g.unknown.append(event.sign)
        case NotNow():
            _known("sign or check", "step", event.step, [*base.signs, *base.checks])
            g.put_off = [*(s for s in g.put_off if s != event.step), event.step]
        case Reading():
            _known("setting", "setting", event.setting, base.settings)
            g.readings = [
                r for r in g.readings if (r.setting, r.knotter) != (event.setting, event.knotter)
            ] + [event]
            check = base.links.check_of[event.setting]
            _no_longer_open(g, check)
            g.done.append(check)
            _done(base, g, check)
        case Logged():
            _known("code", "code", event.code, fault_codes(base))
            g.codes += [event.code] if event.code not in g.codes else []
        case Checked():
            _known("check", "check", event.check, base.checks)
            if event.found is not None:
                _known(
                    f"cause of '{event.check}'",
                    "found",
                    event.found,
                    base.checks[event.check].confirms,
                )
            g.results.append((event.check, event.found))
            _no_longer_open(g, event.check)
            g.done.append(event.check)
            _done(base, g, event.check)
        case Mended():
            _known("cause", "cause", event.cause, base.causes)
            if event.aside:
                _set_aside(base, g, event.cause)
            else:
                _mend(base, g, event.cause)
        case Proved():
            _known("cause", "cause", event.cause, base.causes)
            _mend(base, g, event.cause)
            g.mended = None
            if not event.failed:
                g.cured = event
                return
            # The machine has run since: it is made safe anew before anyone goes near it.
            g.safe = False
            g.lost.clear()
            g.results = [(check, found) for check, found in g.results if found != event.cause]
            failed = [cause for cause in (event.cause, *g.aside) if cause not in g.failed_again]
            g.failed_again, g.aside = [*g.failed_again, *failed], []


def _known(kind: str, key: str, name: str, known: Any) -> None:
    if name not in known:
        raise InputError(f"unknown {kind} '{name}'{nearest(name, known)}", key=key)


def _known_answer(sign: str, answer: str, answers: Mapping[str, str]) -> None:
    if answer not in answers:
        near = nearest(answer, answers)
        listed = "" if near else f"; its answers are {', '.join(answers)}"
        raise InputError(f"unknown answer of '{sign}' '{answer}'{near}{listed}", key="answers")


def _no_longer_open(g: Gathered, step: str) -> None:
    g.put_off = [s for s in g.put_off if s != step]
    g.unknown = [s for s in g.unknown if s != step]


def _done(base: Knowledge, g: Gathered, act: str) -> None:
    """Where an act leaves one, what it destroyed, and whether the machine has to be made safe."""
    g.lost |= set(destroyed(base, act, g.setup)) - set(g.answers)
    g.setup = place_after(base, g.setup, act)
    g.safe = g.safe and not runs(base, act)


def _mend(base: Knowledge, g: Gathered, cause: str) -> None:
    """A cause set right makes what was measured of it before out of date."""
    g.mended, g.cured = cause, None
    g.results += [find for find in _found_by_reading(base, g, cause) if find not in g.results]
    _set_aside(base, g, cause)
    g.aside = [c for c in g.aside if c != cause]


def _found_by_reading(base: Knowledge, g: Gathered, cause: str) -> list[tuple[str, str]]:
    """What readings found, kept as results before they are out of date."""
    found = []
    for r in g.readings:
        possible = POSSIBLE[grade(base.settings[r.setting], r.value, r.unit, r.uncertainty)]
        speaks_for = {base.links.cause_of.get((r.setting, name)) for name in possible}
        if speaks_for == {cause}:
            found.append((base.links.check_of[r.setting], cause))
    return list(dict.fromkeys(found))


def _set_aside(base: Knowledge, g: Gathered, cause: str) -> None:
    """What was measured of a setting before it was set is out of date."""
    stale = base.links.settings_of[cause]
    g.readings = [r for r in g.readings if r.setting not in stale]
    g.aside += [cause] if cause not in g.aside else []


def _given(base: Knowledge, g: Gathered, case: Case) -> dict[str, list[tuple[str, ...]]]:
    """Facts for the engine: answers of the tie in hand, which knotters, grades and codes."""
    given = {sign: [answers] for sign, answers in g.answers.items()}
    bad = sorted(g.by_knotter)
    if bad:
        given |= {sign: [answers] for sign, answers in g.by_knotter[bad[0]].items()}
        which = base.roles.which
        given.setdefault(which.sign, [_which(which, len(bad), case.machine.knotters)])
    for setting in dict.fromkeys(r.setting for r in g.readings):
        answers = _grades(base, [r for r in g.readings if r.setting == setting], bad)
        if answers:
            given[f"grade.{setting}"] = [answers]
    if g.codes:
        given["code"] = [(code,) for code in g.codes]
    return given


def _which(role: Which, bad: int, knotters: int | None) -> tuple[str, ...]:
    """What one bale tells of which knotters fail: several may be the same few, or wandering."""
    if bad == 1:
        return (role.one, role.wandering)
    if bad == knotters:
        return (role.all,)
    return (role.few, role.wandering)


def _grades(base: Knowledge, readings: list[Reading], bad: list[int]) -> tuple[str, ...]:
    """The grade that counts: at the knotters that failed where these are known, else the worst.

    Readings on a limit leave two grades open; too low here and too high there say nothing.
    """
    counted = [r for r in readings if r.knotter is None or not bad or r.knotter in bad] or readings
    if bad and all(r.knotter is not None and r.knotter not in bad for r in counted):
        return ()
    grades = [
        POSSIBLE[grade(base.settings[r.setting], r.value, r.unit, r.uncertainty)] for r in counted
    ]
    out = {grades_[0] for grades_ in grades if len(grades_) == 1} - {"in"}
    if len(out) == 1:
        return (out.pop(),)
    if out:
        return ()
    possible = dict.fromkeys(name for grades_ in grades for name in grades_)
    return tuple(possible) if len(possible) < 3 else ()


def failure_rate(base: Knowledge, known: Mapping[str, tuple[str, ...]]) -> float:
    """Share of ties that failed, from the answer to "how often"; the rarest where it is open."""
    often = base.roles.often
    rates = [base.base.failure_rates[a] for a in known.get(often.sign, ())]
    return min(rates, default=base.base.failure_rates[often.untold])


def _proof(base: Knowledge, g: Gathered, conclusions: Conclusions) -> tuple[str, float] | None:
    if g.cured is None:
        return None
    rate = failure_rate(base, conclusions.evidence)
    return g.cured.cause, by_luck(rate, g.cured.clean_ties)


def _surely_cleared(base: Knowledge, g: Gathered) -> list[str]:
    """Causes that a check cleared and almost never overlooks."""
    sure = base.words[base.roles.surely_cleared]
    return [
        cause
        for check, found in g.results
        if found is None
        for cause, word in base.checks[check].confirms.items()
        if base.words[word] <= sure
    ]


def _contradictions(
    base: Knowledge, conclusions: Conclusions, given: dict[str, list[tuple[str, ...]]]
) -> tuple[Contradiction, ...]:
    return tuple(
        Contradiction(
            told=f"{sign}: {' or '.join(given[sign][0])}",
            rule=rule,
            because=tuple(
                f"{name}: {value if isinstance(value, str) else ' or '.join(value)}"
                for name, value in base.means[rule].if_.items()
            ),
        )
        for rule, sign in conclusions.facts("conflict")
    )
