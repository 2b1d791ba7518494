"""The protocol on whatever happens in whatever order: the gate, the guards, what an act undoes."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.case import (
    AnyEvent,
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
from diagnose.case.protocol import Find, Findings, gate, look_before, opening, phase, unready
from diagnose.case.state import State, state_of, take
from diagnose.case.use import DRILL, TERMINAL, WORK_LIST
from diagnose.errors import EventError, InputError
from diagnose.knowledge import load_rules
from diagnose.knowledge.acts import act_destroys, cautions_of, precautions, runs, undone
from diagnose.knowledge.references import fault_codes

BASE = load_rules()
CONFIRMED = [name for name, caution in BASE.cautions.items() if caution.confirm]
ACTS = [*(("ask", sign) for sign in BASE.signs), *(("check", check) for check in BASE.checks)]
KNOTTERS = st.sampled_from([None, None, 1, 2, 5])
quick = settings(max_examples=60, deadline=None)


@st.composite
def events(draw: st.DrawFn) -> Event:
    """Anything that can be told, at any knotter."""
    at = draw(KNOTTERS)
    sign = draw(st.sampled_from(list(BASE.signs)))
    check = draw(st.sampled_from(list(BASE.checks)))
    cause = draw(st.sampled_from([*list(BASE.causes)[:4], *BASE.checks[check].confirms]))
    setting = draw(st.sampled_from(list(BASE.settings)))
    n = draw(st.integers(0, 70))
    answer = draw(st.sampled_from(list(BASE.signs[sign].answers)))
    every: list[Event] = [
        MadeSafe(),
        MadeSafe(precautions=(draw(st.sampled_from(CONFIRMED)),)),
        Seen(sign=sign, answers=(answer,), knotter=at),
        NotKnown(sign=sign, knotter=at),
        NotNow(step=check, knotter=at),
        Reading(setting=setting, value=float(n), unit=BASE.settings[setting].unit, knotter=at),
        Logged(code=draw(st.sampled_from(fault_codes(BASE)))),
        Checked(check=check, knotter=at),
        Checked(check=check, found=next(iter(BASE.checks[check].confirms)), knotter=at),
        Mended(cause=cause, knotter=at),
        Mended(cause=cause, knotter=at, aside=True),
        Proved(cause=cause, knotter=at, clean_ties=n, failed=draw(st.booleans())),
        Counted(cause=cause, knotter=at, clean_ties=n),
        Failed(knotter=at or 3),
        Noted(text="a remark"),
    ]
    return draw(st.sampled_from(every))


histories = st.lists(events(), max_size=25)


def after(told: list[Event]) -> State:
    return state_of(BASE, Case(id="any").model_copy(update={"events": tuple(told)}))


def test_every_kind_of_event_has_an_effect() -> None:
    kinds = get_args(get_args(AnyEvent)[0])
    drawn = {MadeSafe, Seen, NotKnown, NotNow, Reading, Logged, Checked, Mended, Proved, Counted}
    assert set(kinds) == drawn | {Failed, Noted}
    with pytest.raises(InputError, match="nothing is known"):
        take(BASE, after([]), Event(), 1)


@quick
@given(histories)
def test_no_act_is_open_while_a_precaution_of_it_is_missing(told: list[Event]) -> None:
    state = after(told)
    for kind, act in ACTS:
        needed = precautions(BASE, kind, act)  # type: ignore[arg-type]
        shut = gate(BASE, state, kind, act, DRILL)  # type: ignore[arg-type]
        assert set(shut) == set(needed) - state.secured
        at_machine = set(cautions_of(BASE, act)) & set(CONFIRMED)
        assert at_machine <= set(shut) | state.secured
        safe = BASE.roles.make_safe in state.secured
        assert bool(gate(BASE, state, kind, act, TERMINAL)) is not safe  # type: ignore[arg-type]
        assert gate(BASE, state, kind, act, WORK_LIST) == ()  # type: ignore[arg-type]


def test_an_unknown_act_is_an_error_and_no_open_gate() -> None:
    for kind in ("ask", "check", "mend"):
        with pytest.raises(KeyError):
            gate(BASE, after([MadeSafe()]), kind, "no_such_act", DRILL)  # type: ignore[arg-type]


@quick
@given(histories, st.sampled_from(ACTS))
def test_nothing_stays_secured_over_an_act_that_undoes_it(
    told: list[Event], act: tuple[str, str]
) -> None:
    kind, name = act
    answer = next(iter(BASE.signs[name].answers)) if kind == "ask" else ""
    done = Seen(sign=name, answers=(answer,)) if kind == "ask" else Checked(check=name)
    every = MadeSafe(precautions=tuple(CONFIRMED))
    state = after([*told, every, done])
    assert state.secured == set(CONFIRMED) - undone(BASE, name)
    if runs(BASE, name):
        assert (state.secured, state.place) == (frozenset(), BASE.start_setup)


@quick
@given(histories)
def test_after_the_machine_ran_everything_is_confirmed_anew(told: list[Event]) -> None:
    for ran in (Failed(knotter=2), Proved(cause="hook_worn", clean_ties=1, failed=True)):
        state = after([*told, MadeSafe(precautions=tuple(CONFIRMED)), ran])
        assert (state.secured, state.place) == (frozenset(), BASE.start_setup)
        assert unready(BASE, state, CONFIRMED[-1]) == BASE.roles.make_safe


@quick
@given(histories, st.sampled_from([1, 2, 5]))
def test_a_proof_that_fails_at_one_knotter_clears_nothing_at_another(
    told: list[Event], knotter: int
) -> None:
    before = after([*told, Seen(sign="hangs", answers=("no_twine",), knotter=4)])
    failed = Proved(cause="hook_worn", knotter=knotter, clean_ties=2, failed=True)
    state = after([*told, Seen(sign="hangs", answers=("no_twine",), knotter=4), failed])
    for other in set(state.ties) - {knotter}:
        assert state.cleared_at(other) == before.cleared_at(other)
        assert state.answers(other) == before.answers(other)
        assert [r for r in state.results if r.knotter == other] == [
            r for r in before.results if r.knotter == other
        ]
    assert "hook_worn" in state.cleared_at(knotter)
    fresh = {name for name, sign in BASE.signs.items() if sign.scope == "tie"}
    assert not fresh & set(state.answers(knotter))
    assert not any(state.is_lost(sign, knotter) for sign in fresh)


@quick
@given(histories, st.data())
def test_the_phase_is_the_first_guard_that_holds(told: list[Event], data: st.DataObject) -> None:
    """Against the guards written out one by one."""
    state = after(told)
    repairs = [r for r in state.repairs if r.status in ("open", "kept") and not r.aside]
    behind = st.sampled_from([None, *repairs])
    repaired = {tie: data.draw(behind) for tie in state.ties}
    find = Find("hook_worn", "look_at_hook", None)
    findings = Findings(
        {tie: frozenset(state.answers(tie)) for tie in state.ties},
        (find,) if data.draw(st.booleans()) else (), repaired,
    )  # fmt: skip
    uncovered = [tie for tie, repair in repaired.items() if repair is None]
    firsts = sorted((s.first, n) for n, s in BASE.signs.items() if s.first)
    looks = [
        (name, tie) for _, name in firsts for tie in uncovered
        if name not in state.answers(tie)
        and not state.is_unknown(name, tie) and not state.is_put_off(name, tie)
        and not state.is_lost(name, tie)
    ]  # fmt: skip
    all_kept = all(r is not None and r.status == "kept" for r in repaired.values())
    guards = {
        "cured": all_kept and not any(r.status == "open" for r in repairs),
        "look": bool(looks),
        "found": bool(findings.found),
        "search": bool(uncovered),
        "proving": True,
    }
    first = next(name for name, holds in guards.items() if holds)
    assert phase(BASE, state, findings, TERMINAL) == first
    look = opening(BASE, state, findings, TERMINAL)
    assert (look.sign if look else None) == (looks[0][0] if looks else None)


@quick
@given(histories, st.sampled_from(list(BASE.checks)), st.sampled_from([1, 2, 5]))
def test_a_look_is_put_before_the_act_that_destroys_it_and_is_lost_after_it(
    told: list[Event], check: str, knotter: int
) -> None:
    here = Seen(sign="hangs", answers=("no_twine",), knotter=knotter)
    state = after([*told, here])
    answered = {tie: frozenset(state.answers(tie)) for tie in state.ties}
    findings = Findings(answered, (), dict.fromkeys(state.ties))
    look = look_before(BASE, state, findings, check, knotter, TERMINAL)
    done = after([*told, here, Checked(check=check, knotter=knotter)])
    for sign in act_destroys(BASE, check):
        at = None if BASE.checks[check].per == "machine" else knotter
        told_there = sign in state.answers(at)
        if not told_there:
            assert done.is_lost(sign, knotter)
        if look is None:
            closed = state.is_unknown(sign, knotter) or state.is_put_off(sign, knotter)
            assert told_there or closed or sign in answered[knotter] or state.is_lost(sign, knotter)


def test_an_event_that_cannot_be_is_named_with_its_place_in_the_case() -> None:
    with pytest.raises(EventError, match=r"event 2 \(safe\): unknown caution 'lok'") as raised:
        after([MadeSafe(), MadeSafe(precautions=("lok",))])
    assert raised.value.number == 2
