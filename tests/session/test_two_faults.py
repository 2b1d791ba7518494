"""Several knotters that fail: each its own search, one proof of all, nothing cleared elsewhere."""

from __future__ import annotations

import pytest

from diagnose.bale.answers import events_from
from diagnose.case import (
    Case,
    Checked,
    Counted,
    Event,
    Failed,
    Machine,
    MadeSafe,
    Mended,
    Seen,
)
from diagnose.errors import InputError
from diagnose.session import Diagnosis, Reasoner, diagnose

SEEN: tuple[Event, ...] = (
    MadeSafe(),
    Seen(sign="hangs", answers=("slipped_open",), knotter=2),
    Seen(sign="hangs", answers=("no_twine",), knotter=5),
    Seen(sign="cycled", answers=("yes",)),
    Seen(sign="often", answers=("now_and_then",)),
)
AT_TWO = (
    Checked(check="look_at_hook", found="hook_worn", knotter=2),
    Mended(cause="hook_worn", knotter=2),
)
AT_FIVE = (
    Checked(check="look_in_twine_box", found="twine_ran_out", knotter=5),
    Mended(cause="twine_ran_out", knotter=5),
)


def known(reasoner: Reasoner, *events: Event) -> Diagnosis:
    return diagnose(reasoner, Case(id="two", machine=Machine(knotters=6), events=(*SEEN, *events)))


def typed(reasoner: Reasoner, text: str, *events: Event) -> Diagnosis:
    """After these events, what is typed at the proof, and the machine made safe again."""
    before = known(reasoner, *events)
    heard = events_from(reasoner.base, before.step, text)
    return known(reasoner, *events, *heard, MadeSafe())


def test_each_knotter_has_its_own_suspects(reasoner: Reasoner) -> None:
    both = known(reasoner)
    one_cause = both.reasoned.one_cause
    assert one_cause is not None
    assert one_cause < 0.5
    at_two, at_five = ({s.id: s.chance for s in both.by_knotter[knotter]} for knotter in (2, 5))
    assert at_two["hook_worn"] > 2 * at_five["hook_worn"]
    assert at_five["twine_ran_out"] > 2 * at_two["twine_ran_out"]


def test_told_in_any_order_is_the_same(reasoner: Reasoner) -> None:
    case = Case(id="two", events=(SEEN[0], SEEN[2], *SEEN[3:], SEEN[1]))
    one, other = diagnose(reasoner, case), diagnose(reasoner, Case(id="two", events=SEEN))
    for knotter in (2, 5):
        ours, theirs = one.by_knotter[knotter], other.by_knotter[knotter]
        assert [s.id for s in ours] == [s.id for s in theirs]
        assert [s.chance for s in ours] == pytest.approx([s.chance for s in theirs], abs=1e-12)
    assert one.step == other.step


def test_a_find_at_one_knotter_is_set_right_and_the_search_goes_on_at_the_other(
    reasoner: Reasoner,
) -> None:
    found = known(reasoner, AT_TWO[0])
    assert (found.step.kind, found.step.id, found.step.knotter) == ("mend", "hook_worn", 2)
    going_on = known(reasoner, *AT_TWO)
    assert going_on.reasoned.findings.uncovered == (5,)
    assert going_on.step.kind in ("ask", "check")
    assert going_on.step.knotter in (5, None)


def test_both_are_set_right_before_one_proof_of_both(reasoner: Reasoner) -> None:
    both = known(reasoner, *AT_TWO, *AT_FIVE)
    assert both.step.kind == "prove"
    assert {(p.cause, p.knotter) for p in both.step.proofs} == {
        ("hook_worn", 2), ("twine_ran_out", 5),
    }  # fmt: skip
    cured = typed(reasoner, str(both.step.bales), *AT_TWO, *AT_FIVE)
    assert cured.step.kind == "cured"
    assert {(r.cause, r.knotter) for r in cured.known.state.kept} == {
        ("hook_worn", 2), ("twine_ran_out", 5),
    }  # fmt: skip


def test_a_failure_at_one_knotter_clears_nothing_at_the_other_and_loses_no_count(
    reasoner: Reasoner,
) -> None:
    before = known(reasoner, *AT_TWO, *AT_FIVE)
    assert before.step.bales == 59
    failed = typed(reasoner, "12 f 5", *AT_TWO, *AT_FIVE)
    assert failed.known.state.cleared_at(5) == ("twine_ran_out",)
    assert failed.known.state.cleared_at(2) == ()
    assert failed.reasoned.findings.uncovered == (5,)
    assert [(r.cause, r.clean) for r in failed.known.state.proving] == [("hook_worn", 12)]
    assert (failed.step.id, failed.step.knotter, failed.step.opening) == ("hangs", 5, True)
    assert "hangs" in failed.known.at(2).evidence.answers
    again = (*AT_TWO, *AT_FIVE)
    events = [*events_from(reasoner.base, before.step, "12 f 5"), MadeSafe()]
    afresh = [
        Seen(sign="hangs", answers=("no_twine",), knotter=5),
        Checked(check="follow_twine", found="routing_wrong", knotter=5),
        Mended(cause="routing_wrong", knotter=5),
    ]
    proof = known(reasoner, *again, *events, *afresh).step
    assert proof.kind == "prove"
    assert (proof.id, proof.bales) == ("routing_wrong", 59)
    assert [p.cause for p in proof.proofs] == ["routing_wrong", "hook_worn"]


def test_which_knotter_failed_again_has_to_be_said_where_several_were_set_right(
    reasoner: Reasoner,
) -> None:
    step = known(reasoner, *AT_TWO, *AT_FIVE).step
    with pytest.raises(InputError, match="such as f 5"):
        events_from(reasoner.base, step, "f")
    with pytest.raises(InputError, match="how many bales were clean"):
        events_from(reasoner.base, step, "5 ok 3")


def test_a_knotter_that_fails_anew_clears_nothing(reasoner: Reasoner) -> None:
    step = known(reasoner, *AT_TWO, *AT_FIVE).step
    events = events_from(reasoner.base, step, "7 f 3")
    assert events == [
        Counted(cause="twine_ran_out", knotter=5, clean_ties=7),
        Counted(cause="hook_worn", knotter=2, clean_ties=7),
        Failed(knotter=3),
    ]
    anew = known(reasoner, *AT_TWO, *AT_FIVE, *events, MadeSafe())
    assert anew.reasoned.findings.uncovered == (3,)
    assert [anew.known.state.cleared_at(k) for k in (2, 3, 5)] == [(), (), ()]
    assert (anew.step.id, anew.step.knotter) == ("hangs", 3)


def test_a_cause_of_the_whole_machine_stands_for_every_knotter_where_it_is_likely(
    reasoner: Reasoner,
) -> None:
    same = [Seen(sign="hangs", answers=("runs_back",), knotter=k) for k in (1, 2, 3, 4, 5, 6)]
    told = [
        SEEN[4],
        Seen(sign="cycled", answers=("no",)),
        Checked(check="move_pawl", found="pawl_stuck"),
    ]
    events = (MadeSafe(), *same, *told, Mended(cause="pawl_stuck"))
    all_six = diagnose(reasoner, Case(id="all", machine=Machine(knotters=6), events=events))
    assert all_six.reasoned.findings.uncovered == ()
    assert all_six.step.kind == "prove"
    failed = (*events, *events_from(reasoner.base, all_six.step, "2 f 4"), MadeSafe())
    after = diagnose(reasoner, Case(id="all", machine=Machine(knotters=6), events=failed))
    assert after.known.state.cleared_at(4) == ("pawl_stuck",)
    assert after.known.state.cleared_at(3) == ()
    assert after.reasoned.findings.uncovered == (4,)


def test_a_check_at_a_knotter_that_ties_well_says_nothing_of_the_one_that_fails(
    reasoner: Reasoner,
) -> None:
    one = (MadeSafe(), Seen(sign="hangs", answers=("slipped_open",), knotter=2))
    elsewhere = (*one, Checked(check="look_at_hook", knotter=3))
    before, after = (
        diagnose(reasoner, Case(id="one", events=events)) for events in (one, elsewhere)
    )
    assert [s.chance for s in before.suspects] == [s.chance for s in after.suspects]


def test_looks_are_lost_at_the_knotter_where_an_act_destroys_them(reasoner: Reasoner) -> None:
    wiped = known(reasoner, Checked(check="clear_retainer", knotter=2)).known.state
    assert wiped.is_lost("in_retainer", 2)
    assert not wiped.is_lost("in_retainer", 5)


def test_what_failed_and_is_found_once_more_can_be_set_right_and_proved_after_all(
    reasoner: Reasoner,
) -> None:
    step = known(reasoner, *AT_TWO, *AT_FIVE).step
    failed = (*AT_TWO, *AT_FIVE, *events_from(reasoner.base, step, "2 f 5"), MadeSafe())
    assert known(reasoner, *failed).known.state.cleared_at(5) == ("twine_ran_out",)
    again = (*failed, Seen(sign="hangs", answers=("no_twine",), knotter=5), *AT_FIVE)
    once_more = known(reasoner, *again)
    assert once_more.known.state.cleared_at(5) == ()
    assert once_more.step.kind == "prove"
    cured = typed(reasoner, str(once_more.step.bales), *again)
    assert cured.step.kind == "cured"
    assert cured.by_knotter[5][0].id == "twine_ran_out"
