"""From a case's state to settled evidence, tie by tie: what counts, what is open, what clashes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from diagnose.case import Case, Reading
from diagnose.case.state import Knotter, Repair, Result, State, state_of
from diagnose.inference import Conclusions
from diagnose.inference.joint import Bale
from diagnose.inference.tables import Evidence
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.roles import Which
from diagnose.machine.grading import POSSIBLE, grade
from diagnose.session.proof import by_luck
from diagnose.session.reasoner import Reasoner

UNFIT = 0.5
"""A reading's cause does not fit when what was told of the failed tie has left it less than this
share of the chance it had before anything was told. Judgement: such a tie is at least twice as
common with the other causes."""


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
class Tie:
    """One failing tie: settled evidence, and all that follows from it."""

    knotter: Knotter
    evidence: Evidence
    """All that counts at this tie alone, what was told of the bale and found on the machine too."""
    own: tuple[bool, ...]
    """Of each result in the evidence: it is of this knotter, not of the whole machine."""
    by_hand: frozenset[str]
    """Causes that a check found by itself, without a reading."""
    conclusions: Conclusions
    contradictions: tuple[Contradiction, ...]
    doubtful: tuple[Doubtful, ...]


@dataclass(frozen=True)
class Understanding:
    """Settled evidence and the state of the search."""

    state: State
    ties: tuple[Tie, ...]
    """By knotter; one of no knotter before any is named."""
    knotters: int
    """Of the machine; the usual number where nobody said."""
    which: tuple[str, ...] | None
    """Which knotters fail, as somebody told it."""
    bale_signs: frozenset[str]
    """Signs that are of the bale as a whole."""
    which_sign: str

    @property
    def evidence(self) -> Evidence:
        """Of the first failing tie: of the only one, where there are not several."""
        return self.ties[0].evidence

    @property
    def conclusions(self) -> Conclusions:
        return self.ties[0].conclusions

    @cached_property
    def contradictions(self) -> tuple[Contradiction, ...]:
        return tuple(dict.fromkeys(c for tie in self.ties for c in tie.contradictions))

    @cached_property
    def doubtful(self) -> tuple[Doubtful, ...]:
        return tuple(dict.fromkeys(d for tie in self.ties for d in tie.doubtful))

    def at(self, knotter: Knotter) -> Tie:
        """The failing tie there; the first, for what is of no knotter or of one that ties well."""
        return next((tie for tie in self.ties if tie.knotter == knotter), self.ties[0])

    @cached_property
    def bale(self) -> Bale:
        """What the joint belief takes: of each tie its own, and what was told of the bale."""
        ties, voice = {}, {}
        whole: Counter[tuple[str, str | None]] = Counter()
        for tie in self.ties:
            assert tie.knotter is not None
            told = self.state.told.get(tie.knotter, {})
            answers = tie.evidence.answers
            of_bale = {s for s in answers if s in self.bale_signs and s not in told}
            which = {self.which_sign}
            own = [r for r, own in zip(tie.evidence.results, tie.own, strict=True) if own]
            ties[tie.knotter] = replace(
                tie.evidence,
                answers={s: a for s, a in answers.items() if s not in of_bale | which},
                results=tuple(own),
            )
            voice[tie.knotter] = {s: a for s, a in answers.items() if s in of_bale - which}
            whole |= Counter(tie.evidence.results) - Counter(own)
        return Bale(ties, voice, tuple(whole.elements()), self.which, self.knotters)


def understand(reasoner: Reasoner, case: Case) -> Understanding:
    """Read a case from its first event. Raises InputError for ids the rule base does not know."""
    base = reasoner.base
    state = state_of(base, case)
    which = base.roles.which.sign
    told = [answers[which] for answers in state.told.values() if which in answers]
    return Understanding(
        state=state,
        ties=tuple(_tie(reasoner, state, case, knotter) for knotter in state.ties),
        knotters=case.machine.knotters or base.base.usual_knotters,
        which=told[-1] if told else None,
        bale_signs=frozenset(name for name, sign in base.signs.items() if sign.scope == "bale"),
        which_sign=which,
    )


def _tie(reasoner: Reasoner, state: State, case: Case, knotter: Knotter) -> Tie:
    base = reasoner.base
    given = _given(base, state, case, knotter)
    here = state.results_at(knotter)
    failed_again = state.cleared_at(knotter)
    cleared = [*failed_again, *_surely_cleared(base, here)]
    open_ = [r.cause for r in state.proving if knotter in (None, r.knotter) or r.knotter is None]
    reported = _reported(base, state, failed_again)
    here += _read_before(base, state, knotter, here)
    found = [*open_, *(r.found for r in (*here, *reported) if r.found)]
    conclusions = reasoner.conclude(given, cleared=cleared, found=found)
    set_right = {*open_, *(r.cause for r in state.kept)}
    done = {r.check for r in here if r.found in set_right}
    read = [
        Result(check, None if cause == "-" else cause, _read_at(base, state, check, knotter))
        for check, cause in _by_place(base, conclusions.facts("result"))
        if cause not in failed_again and check not in done
    ]
    unfit = _unfit(reasoner, here, conclusions, [r.found for r in read if r.found])
    results = [*here, *(r for r in read if r.found not in unfit)]
    known = {(r.check, r.found) for r in results}
    results += [r for r in reported if r[:2] not in known and r.found not in set_right]
    evidence = Evidence(
        answers=conclusions.evidence,
        results=tuple((r.check, r.found) for r in results),
        mended=frozenset(failed_again),
        proof=_proof(base, state, conclusions, knotter),
    )
    doubtful = [
        Doubtful(base.checks[r.check].setting or "", r.found) for r in read if r.found in unfit
    ]
    doubtful += [Doubtful(setting, None) for setting in _on_limit(base, state, knotter)]
    return Tie(
        knotter=knotter,
        evidence=evidence,
        own=tuple(r.knotter is not None for r in results),
        by_hand=frozenset(r.found for r in here if r.found),
        conclusions=conclusions,
        contradictions=_contradictions(base, conclusions, given),
        doubtful=tuple(doubtful),
    )


def _reported(base: Knowledge, state: State, failed_again: Iterable[str]) -> list[Result]:
    """What a controller found by testing its own circuit, as its first finder would find it."""
    causes = [cause for code in state.codes if (cause := base.codes[code].finds)]
    known = (cause for cause in dict.fromkeys(causes) if cause not in failed_again)
    return [Result(base.links.finders[cause][0], cause, None) for cause in known]


def _by_place(base: Knowledge, results: Iterable[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Results in the order in which the rules name their checks and causes."""
    checks, causes = list(base.checks), [*base.causes, "-"]
    return sorted(results, key=lambda pair: (checks.index(pair[0]), causes.index(pair[1])))


def _read_at(base: Knowledge, state: State, check: str, knotter: Knotter) -> Knotter:
    """The knotter that a reading's result is of; None for the whole machine."""
    setting = base.checks[check].setting
    own = any(r.setting == setting and r.knotter == knotter for r in state.readings)
    return knotter if own else None


def _read_before(
    base: Knowledge, state: State, knotter: Knotter, here: list[Result]
) -> list[Result]:
    """What readings found before their cause was set right."""
    known = {(r.check, r.found) for r in here}
    failed = state.cleared_at(knotter)
    found: dict[Result, None] = {}
    for reading, cause in state.before:
        at = knotter is None or reading.knotter in (None, knotter)
        check = base.links.check_of[reading.setting]
        new = cause not in failed and (check, cause) not in known
        if at and new and _speaks_for(base, reading) == {cause}:
            found[Result(check, cause, reading.knotter)] = None
    return list(found)


def _speaks_for(base: Knowledge, reading: Reading) -> set[str | None]:
    setting = base.settings[reading.setting]
    possible = POSSIBLE[grade(setting, reading.value, reading.unit, reading.uncertainty)]
    return {base.links.cause_of.get((reading.setting, name)) for name in possible}


def _unfit(
    reasoner: Reasoner, here: list[Result], conclusions: Conclusions, measured: list[str]
) -> set[str]:
    """Causes that a reading speaks for and the failed tie speaks against: see UNFIT."""
    if not measured:
        return set()
    signs, tables = reasoner.base.signs, reasoner.tables
    told = {
        sign: answers
        for sign, answers in conclusions.evidence.items()
        if sign in signs and signs[sign].scope != "bale"
    }
    by_hand = {r.found for r in here}
    before = tables.posterior(Evidence({})).by_cause
    after = tables.posterior(Evidence(answers=told)).by_cause
    return {c for c in measured if after[c] < UNFIT * before[c]} - by_hand


def _on_limit(base: Knowledge, state: State, knotter: Knotter) -> list[str]:
    """Settings with a reading that is neither in nor out with its gauge."""
    graded = (
        (r, grade(base.settings[r.setting], r.value, r.unit, r.uncertainty))
        for r in state.readings
        if knotter is None or r.knotter in (None, knotter)
    )
    return list(dict.fromkeys(r.setting for r, name in graded if len(POSSIBLE[name]) > 1))


def _given(
    base: Knowledge, state: State, case: Case, knotter: Knotter
) -> dict[str, list[tuple[str, ...]]]:
    """Facts for the engine: answers of one tie, which knotters, grades and codes."""
    given: dict[str, list[tuple[str, ...]]] = {
        sign: [answers] for sign, answers in state.answers(knotter).items()
    }
    if knotter is not None:
        which = base.roles.which
        shown = _which(which, len(state.ties), case.machine.knotters)
        given.setdefault(which.sign, [shown])
    for setting in dict.fromkeys(r.setting for r in state.readings):
        answers = _grades(base, [r for r in state.readings if r.setting == setting], knotter)
        if answers:
            given[f"grade.{setting}"] = [answers]
    if state.codes:
        given["code"] = [(code,) for code in state.codes]
    return given


def _which(role: Which, bad: int, knotters: int | None) -> tuple[str, ...]:
    """What one bale tells of which knotters fail: several may be the same few, or wandering."""
    if bad == 1:
        return (role.one, role.wandering)
    if bad == knotters:
        return (role.all,)
    return (role.few, role.wandering)


def _grades(base: Knowledge, readings: list[Reading], knotter: Knotter) -> tuple[str, ...]:
    """The grade that counts: at the knotter that failed where it is known, else the worst.

    Readings on a limit leave two grades open; too low here and too high there say nothing.
    """
    counted = [r for r in readings if knotter is None or r.knotter in (None, knotter)]
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


def kept_at(state: State, knotter: Knotter) -> Repair | None:
    """The last cause set right and proved at a failing tie; of no knotter, it holds at each."""
    kept = [r for r in state.kept if knotter is None or r.knotter in (None, knotter)]
    return kept[-1] if kept else None


def _proof(
    base: Knowledge, state: State, conclusions: Conclusions, knotter: Knotter
) -> tuple[str, float] | None:
    kept = kept_at(state, knotter)
    if kept is None:
        return None
    return kept.cause, by_luck(failure_rate(base, conclusions.evidence), kept.clean)


def _surely_cleared(base: Knowledge, results: list[Result]) -> list[str]:
    """Causes that a check cleared and almost never overlooks."""
    sure = base.words[base.roles.surely_cleared]
    return [
        cause
        for r in results
        if r.found is None
        for cause, word in base.checks[r.check].confirms.items()
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
