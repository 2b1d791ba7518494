"""What an act destroys is looked at before it, or is lost and not asked any more."""

from __future__ import annotations

from diagnose.case import Case, Checked, Event, MadeSafe, Mended, NotKnown, Proved, Reading, Seen
from diagnose.knowledge.acts import destroyed
from diagnose.session import Reasoner, diagnose
from diagnose.session.step import named_step

OPENED = (
    MadeSafe(),
    Seen(sign="hangs", answers=("knot_one_end",)),
    Seen(sign="cycled", answers=("yes",)),
)


def case(*events: Event) -> Case:
    return Case(id="looks", events=(*OPENED, *events))


def test_before_every_check_and_look_what_it_would_destroy_is_looked_at(
    reasoner: Reasoner,
) -> None:
    base = reasoner.base
    opened = diagnose(reasoner, case())
    for act in [*base.signs, *base.checks]:
        gone = destroyed(base, act)
        step = named_step(reasoner, opened.reasoned, act)
        if gone:
            assert (step.kind, step.id, step.before) == ("ask", gone[0], act)
        else:
            assert (step.id, step.before) == (act, None)


def test_a_look_that_was_taken_or_is_not_known_stands_in_nobodys_way(reasoner: Reasoner) -> None:
    looks = (
        Seen(sign="dirt", answers=("clean",)),
        Seen(sign="on_hook", answers=("bare",)),
        NotKnown(sign="in_retainer"),
    )
    known = diagnose(reasoner, case(*looks))
    step = named_step(reasoner, known.reasoned, "look_for_dirt")
    assert (step.kind, step.id) == ("check", "look_for_dirt")


def test_a_destroyed_look_is_lost_and_never_asked_again_at_this_tie(reasoner: Reasoner) -> None:
    known = diagnose(reasoner, case(Checked(check="look_for_dirt")))
    assert known.known.state.lost[None] == {"dirt", "on_hook", "in_retainer"}
    others = {other.id for other in known.step.others} | {known.step.id}
    assert not others & known.known.state.lost[None]


def test_turning_by_hand_loses_what_lay_on_the_hook(reasoner: Reasoner) -> None:
    reading = Reading(setting="needle_height", value=8, unit="mm")
    assert {"on_hook", "in_retainer"} <= diagnose(reasoner, case(reading)).known.state.lost[None]


def test_a_fresh_failed_tie_can_be_looked_at_anew(reasoner: Reasoner) -> None:
    again = case(
        Checked(check="look_for_dirt", found="knotters_dirty"),
        Mended(cause="knotters_dirty"),
        Proved(cause="knotters_dirty", clean_ties=3, failed=True),
        MadeSafe(),
    )
    assert not diagnose(reasoner, again).known.state.lost[None]


def test_a_sheet_measured_another_time_loses_nothing(reasoner: Reasoner) -> None:
    sheet = Reading(setting="needle_height", value=8, unit="mm")
    known = diagnose(reasoner, Case(id="sheet", events=(sheet, *OPENED)))
    assert not known.known.state.lost[None]


def test_after_an_act_for_which_the_machine_ran_it_is_made_safe_anew(reasoner: Reasoner) -> None:
    for ran in (Checked(check="turn_density_down"), Seen(sign="swap_moves", answers=("stays",))):
        after = diagnose(reasoner, case(ran))
        assert after.step.kind == "safe"
        assert diagnose(reasoner, case(ran, MadeSafe())).step.kind in ("ask", "check")
