"""The fold: from a case's events to the state they leave the search in, tie by tie. Pure.

A failing tie is named by its knotter. What was told of no knotter counts at every failing tie;
before any is named there is one tie, of no knotter, which takes the first name given.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, NamedTuple

from diagnose.case.events import (
    Case,
    Checked,
    Counted,
    Event,
    Failed,
    Logged,
    MadeSafe,
    Mended,
    Noted,
    NotKnown,
    NotNow,
    Proved,
    Reading,
    Seen,
)
from diagnose.errors import EventError, InputError, nearest
from diagnose.knowledge.acts import act_destroys, per_knotter, place_after, undone, way_destroys
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.references import fault_codes

Knotter = int | None
Answers = dict[str, tuple[str, ...]]
Status = Literal["open", "failed", "kept"]


class Result(NamedTuple):
    """What a check found, or nothing; of no knotter, on the whole machine or at all that failed."""

    check: str
    found: str | None
    knotter: Knotter


class Before(NamedTuple):
    """A reading taken before the cause that it may have spoken for was set right."""

    reading: Reading
    cause: str


class Waiting(NamedTuple):
    """A question or check that is not to be put now, at a knotter or anywhere."""

    step: str
    knotter: Knotter


@dataclass(frozen=True)
class Repair:
    """A cause set right, and what came of it."""

    cause: str
    knotter: Knotter
    number: int
    """Of its event, from 1."""
    aside: bool = False
    """Set though the failed tie did not fit it: it clears nothing, and is proved along."""
    status: Status = "open"
    clean: int = 0
    """Trials counted clean so far."""


@dataclass
class State:
    """What the events say, before anything is concluded."""

    place: str
    secured: frozenset[str] = frozenset()
    """Cautions whose precaution was taken and still holds."""
    told: dict[Knotter, Answers] = field(default_factory=lambda: {None: {}})
    since: dict[Knotter, int] = field(default_factory=lambda: {None: 0})
    """Each tie that failed, and the event at which it did, 0 for the bale the case began with."""
    unknown: list[Waiting] = field(default_factory=list)
    put_off: list[Waiting] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    before: list[Before] = field(default_factory=list)
    codes: list[str] = field(default_factory=list)
    results: list[Result] = field(default_factory=list)
    done: list[Waiting] = field(default_factory=list)
    """Checks done, and at which knotter."""
    lost: dict[Knotter, set[str]] = field(default_factory=lambda: {None: set()})
    """Signs that an act has destroyed: nobody can look at them any more at this tie."""
    repairs: list[Repair] = field(default_factory=list)
    begun: bool = False

    @property
    def ties(self) -> tuple[Knotter, ...]:
        """Knotters of the failing ties by number; (None,) before any is named."""
        return tuple(sorted(k for k in self.since if k is not None)) or (None,)

    def answers(self, knotter: Knotter) -> Answers:
        """All that was told of one tie: of the bale, and of its own."""
        general, own = self.told[None], self.told.get(knotter, {})
        return {**general, **own}

    def is_lost(self, sign: str, knotter: Knotter) -> bool:
        return sign in self.lost[None] or sign in self.lost.get(knotter, ())

    def is_unknown(self, sign: str, knotter: Knotter) -> bool:
        return _is_among(self.unknown, sign, knotter)

    def is_put_off(self, step: str, knotter: Knotter) -> bool:
        return _is_among(self.put_off, step, knotter)

    def is_done(self, check: str, knotter: Knotter) -> bool:
        return _is_among(self.done, check, knotter)

    def results_at(self, knotter: Knotter) -> list[Result]:
        """Results that count at a tie; before any knotter is named, all."""
        return [r for r in self.results if knotter is None or r.knotter in (None, knotter)]

    def cleared_at(self, knotter: Knotter) -> tuple[str, ...]:
        """Causes set right after which this tie, or the one before it here, still failed; not
        what was found and set right once more since."""
        here = [r for r in self.repairs if _covers(r.knotter, knotter)]
        once_more = {r.cause for r in here if r.status != "failed" and not r.aside}
        failed = (r.cause for r in here if r.status == "failed" and r.cause not in once_more)
        return tuple(dict.fromkeys(failed))

    def repairs_of(self, status: Status) -> list[Repair]:
        return [r for r in self.repairs if r.status == status]

    @property
    def proving(self) -> list[Repair]:
        """Causes set right whose proof is still open, but for those set along."""
        return [r for r in self.repairs if r.status == "open" and not r.aside]

    @property
    def aside(self) -> list[str]:
        """Causes set along whose proof is still open."""
        return [r.cause for r in self.repairs if r.status == "open" and r.aside]

    @property
    def kept(self) -> list[Repair]:
        return [r for r in self.repairs if r.status == "kept" and not r.aside]


def _is_among(steps: Iterable[Waiting], name: str, knotter: Knotter) -> bool:
    return any(s.step == name and _covers(s.knotter, knotter) for s in steps)


def _covers(of: Knotter, knotter: Knotter) -> bool:
    """What is of no knotter holds at each; before any is named, anything holds at the one tie."""
    return of is None or knotter is None or of == knotter


def state_of(base: Knowledge, case: Case) -> State:
    """Fold the events; a later answer to the same question replaces the earlier one.

    Raises EventError for one that cannot be.
    """
    state = State(place=base.start_setup)
    for number, event in enumerate(case.events, 1):
        try:
            _on_machine(case, event)
            take(base, state, event, number)
        except InputError as error:
            raise EventError(error, number, getattr(event, "kind", "")) from None
    return state


def refuse_unfit(base: Knowledge, case: Case, event: Event) -> None:
    """Raises InputError, without a word of events, for one that the case cannot hold."""
    _on_machine(case, event)
    take(base, State(place=base.start_setup), event, 1)


def _on_machine(case: Case, event: Any) -> None:
    knotter, knotters = getattr(event, "knotter", None), case.machine.knotters
    if knotter and knotters and knotter > knotters:
        raise InputError(f"knotter {knotter} on a machine of {knotters}", key="knotter")


def take(base: Knowledge, state: State, event: Event, number: int) -> None:
    """What one event, the `number`-th, does to the state. Raises InputError for unknown ids."""
    match event:
        case MadeSafe():
            _secure(base, state, event)
        case Seen():
            _known("sign", "sign", event.sign, base.signs)
            for answer in event.answers:
                _known_answer(event.sign, answer, base.signs[event.sign].answers)
            if event.knotter is not None:
                state.since.setdefault(event.knotter, state.since[None])
            state.told.setdefault(event.knotter, {})[event.sign] = event.answers
            _answered(base, state, event.sign, event.knotter)
        case NotKnown():
            _known("sign", "sign", event.sign, base.signs)
            _no_longer_open(state, event.sign, event.knotter)
            state.unknown.append(Waiting(event.sign, event.knotter))
        case NotNow():
            _known("sign or check", "step", event.step, [*base.signs, *base.checks])
            waiting = Waiting(event.step, event.knotter)
            state.put_off = [*(s for s in state.put_off if s != waiting), waiting]
        case Reading():
            _known("setting", "setting", event.setting, base.settings)
            same = (event.setting, event.knotter)
            state.readings = [r for r in state.readings if (r.setting, r.knotter) != same]
            state.readings.append(event)
            _checked(base, state, base.links.check_of[event.setting], event.knotter)
        case Logged():
            _known("code", "code", event.code, fault_codes(base))
            state.codes += [event.code] if event.code not in state.codes else []
        case Checked():
            _known("check", "check", event.check, base.checks)
            if event.found is not None:
                confirms = base.checks[event.check].confirms
                _known(f"cause of '{event.check}'", "found", event.found, confirms)
            state.results.append(Result(event.check, event.found, event.knotter))
            _checked(base, state, event.check, event.knotter)
        case Mended():
            _known("cause", "cause", event.cause, base.causes)
            _mend(base, state, Repair(event.cause, event.knotter, number, bool(event.aside)))
        case Proved():
            _known("cause", "cause", event.cause, base.causes)
            _prove(base, state, event, number)
        case Counted():
            _known("cause", "cause", event.cause, base.causes)
            _count(state, event)
            _ran(base, state)
        case Failed():
            _ran(base, state)
            _fail_afresh(base, state, (event.knotter,), number)
        case Noted():
            pass
        case _:
            raise InputError(f"nothing is known of '{getattr(event, 'kind', event)}' here")


def _known(kind: str, key: str, name: str, known: Any) -> None:
    if name not in known:
        raise InputError(f"unknown {kind} '{name}'{nearest(name, known)}", key=key)


def _known_answer(sign: str, answer: str, answers: Mapping[str, str]) -> None:
    if answer not in answers:
        near = nearest(answer, answers)
        listed = "" if near else f"; its answers are {', '.join(answers)}"
        raise InputError(f"unknown answer of '{sign}' '{answer}'{near}{listed}", key="answers")


def _secure(base: Knowledge, state: State, event: MadeSafe) -> None:
    for name in event.precautions or ():
        _known("caution", "precautions", name, base.cautions)
    taken = event.precautions or (base.roles.make_safe,)
    state.secured |= frozenset(taken)
    if base.roles.make_safe in taken:
        state.place = base.start_setup
        if not state.begun:  # a sheet taken in before was measured another time
            for signs in state.lost.values():
                signs.clear()
        state.begun = True


def _no_longer_open(state: State, step: str, knotter: Knotter) -> None:
    def stays(waiting: Waiting) -> bool:
        return waiting.step != step or not _covers(knotter, waiting.knotter)

    state.put_off = [waiting for waiting in state.put_off if stays(waiting)]
    state.unknown = [waiting for waiting in state.unknown if stays(waiting)]


def _answered(base: Knowledge, state: State, sign: str, knotter: Knotter) -> None:
    _no_longer_open(state, sign, knotter)
    _done(base, state, sign, knotter)


def _checked(base: Knowledge, state: State, check: str, knotter: Knotter) -> None:
    _no_longer_open(state, check, knotter)
    state.done.append(Waiting(check, knotter))
    _done(base, state, check, knotter)


def _done(base: Knowledge, state: State, act: str, knotter: Knotter) -> None:
    """Where an act leaves one, what it destroyed, and what is no longer secured after it."""
    at = knotter if per_knotter(base, act) else None
    gone = [(at, act_destroys(base, act)), (None, way_destroys(base, act, state.place))]
    for where, signs in gone:
        state.lost.setdefault(where, set()).update(set(signs) - set(state.answers(where)))
    state.place = place_after(base, state.place, act)
    state.secured -= undone(base, act)


def _ran(base: Knowledge, state: State) -> None:
    """The machine has run since: it is made safe anew before anyone goes near it."""
    state.secured = frozenset()
    state.place = base.start_setup


def _mend(base: Knowledge, state: State, repair: Repair) -> None:
    """A cause set right makes what was measured of it before out of date."""
    stale = base.links.settings_of[repair.cause]
    old = [r for r in state.readings if r.setting in stale and _covers(repair.knotter, r.knotter)]
    state.readings = [r for r in state.readings if not any(r is o for o in old)]
    if not repair.aside:
        state.before += [Before(reading, repair.cause) for reading in old]
    same = (repair.cause, repair.knotter)
    state.repairs = [
        r for r in state.repairs if r.status == "failed" or (r.cause, r.knotter) != same
    ]
    state.repairs.append(repair)


def _prove(base: Knowledge, state: State, event: Proved, number: int) -> None:
    """A verdict on what was set right; of a cause nobody recorded as set, it is taken as set."""
    meant = (r for r in state.proving if r.cause == event.cause)
    here = [r for r in meant if _covers(event.knotter, r.knotter)]
    if not here:
        _mend(base, state, Repair(event.cause, event.knotter, number))
        here = [state.repairs[-1]]
    if not event.failed:
        _change(state, here, status="kept", more=event.clean_ties)
        if not state.proving:
            _change(state, state.repairs_of("open"), status="kept")
        return
    at = event.knotter or here[0].knotter
    along = [r for r in state.repairs_of("open") if r.aside and _covers(at, r.knotter)]
    failed = [*here, *along]
    elsewhere = set(state.ties) - {at, None}
    if at is not None and elsewhere:
        # Set right on the whole machine and failed at one knotter: there alone it is cleared.
        shared = [r for r in failed if r.knotter is None]
        failed = [r for r in failed if r.knotter is not None]
        counted = {r.cause for r in state.proving if r.knotter is not None}
        state.repairs = [r for r in state.repairs if r not in shared or r.cause not in counted]
        state.repairs += [Repair(r.cause, at, number, r.aside, "failed") for r in shared]
    _change(state, failed, status="failed")

    def stays(result: Result) -> bool:
        there = result.knotter == at if elsewhere else _covers(at, result.knotter)
        return result.found != event.cause or not there

    state.results = [result for result in state.results if stays(result)]
    _ran(base, state)
    _fail_afresh(base, state, state.ties if at is None else (at,), number)


def _count(state: State, event: Counted) -> None:
    """Of what was set right on the whole machine, at one knotter: there it counts on by itself."""
    here = [r for r in state.proving if r.cause == event.cause]
    own = [r for r in here if r.knotter == event.knotter]
    if not own and event.knotter is not None:
        own = [replace(r, knotter=event.knotter) for r in here if r.knotter is None][:1]
        state.repairs += own
    _change(state, own, more=event.clean_ties)


def _change(
    state: State, repairs: list[Repair], status: Status | None = None, more: int = 0
) -> None:
    state.repairs = [
        replace(r, status=status or r.status, clean=r.clean + more)
        if any(r is one for one in repairs)
        else r
        for r in state.repairs
    ]


def _fail_afresh(base: Knowledge, state: State, knotters: Iterable[Knotter], number: int) -> None:
    """Another tie failed here: what was seen on the last one is of the last one.

    What was looked at inside, and what was told of machine, crop and day, stays.
    """
    fresh = set(knotters)
    of_tie = {name for name, sign in base.signs.items() if sign.scope == "tie"}
    others = [k for k in state.ties if k not in fresh and k is not None]
    general = {s: a for s, a in state.told[None].items() if s in of_tie}
    for other in others:
        state.told[other] = {**general, **state.told.get(other, {})}
        state.lost[other] = state.lost.get(other, set()) | state.lost[None]
    state.lost[None] = set()
    for knotter in {None, *fresh}:
        kept = {s: a for s, a in state.told.get(knotter, {}).items() if s not in of_tie}
        state.told[knotter] = kept
    for knotter in fresh:
        state.since[knotter] = number
        state.lost[knotter] = set()
        for sign in of_tie:
            _no_longer_open(state, sign, knotter)
