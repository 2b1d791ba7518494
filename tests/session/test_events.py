"""What the order and kind of events do, and do not, change."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.case import (
    Case,
    Checked,
    Logged,
    Machine,
    MadeSafe,
    Mended,
    NotKnown,
    NotNow,
    Proved,
    Reading,
    Seen,
)
from diagnose.errors import InputError
from diagnose.knowledge import load_rules
from diagnose.session import Reasoner, diagnose

BASE = load_rules()
REASONER = Reasoner(BASE)
OPENING = (
    MadeSafe(),
    Seen(sign="hangs", answers=("knot_one_end",)),
    Seen(sign="cycled", answers=("yes",)),
    Seen(sign="which", answers=("one",)),
)


def case(*events: object, knotters: int | None = None) -> Case:
    return Case(id="test", machine=Machine(knotters=knotters), events=(*OPENING, *events))


def chances(*events: object) -> dict[str, float]:
    return {s.id: s.chance for s in diagnose(REASONER, case(*events)).suspects}


REMEMBERED = [name for name, sign in BASE.signs.items() if sign.setup == BASE.start_setup]


@settings(max_examples=15, deadline=None)
@given(st.data())
def test_the_order_of_unrelated_answers_changes_nothing(data: st.DataObject) -> None:
    signs = data.draw(st.lists(st.sampled_from(REMEMBERED), min_size=2, max_size=5, unique=True))
    events = [
        Seen(sign=s, answers=(data.draw(st.sampled_from(list(BASE.signs[s].answers))),))
        for s in signs
    ]
    shuffled = events[:]
    random.Random(data.draw(st.integers(0, 99))).shuffle(shuffled)
    one = diagnose(REASONER, Case(id="a", events=(MadeSafe(), *events)))
    other = diagnose(REASONER, Case(id="a", events=(MadeSafe(), *shuffled)))
    for a, b in zip(one.suspects, other.suspects, strict=True):
        assert a.chance == pytest.approx(b.chance, rel=1e-9)
    assert (one.step.kind, one.step.id) == (other.step.kind, other.step.id)


def test_without_the_last_event_everything_is_as_before_it() -> None:
    before = diagnose(REASONER, case())
    after = case(Seen(sign="tails", answers=("uneven",)))
    back = after.model_copy(update={"events": after.events[:-1]})
    assert diagnose(REASONER, back).step == before.step


def test_a_later_answer_replaces_an_earlier_one_to_the_same_question() -> None:
    changed = chances(
        Seen(sign="tails", answers=("uneven",)), Seen(sign="tails", answers=("torn",))
    )
    assert changed == chances(Seen(sign="tails", answers=("torn",)))


def test_dont_know_and_not_now_are_no_evidence() -> None:
    assert chances(NotKnown(sign="tails"), NotNow(step="look_at_hook")) == chances()


def test_what_was_put_off_comes_again_when_nothing_else_is_left() -> None:
    steps = [*BASE.signs, *BASE.checks]
    put_off = diagnose(REASONER, case(*(NotNow(step=step) for step in steps)))
    assert put_off.step.kind in ("ask", "check")
    assert put_off.step.again


def test_a_check_that_found_nothing_clears_its_causes_and_is_not_put_again() -> None:
    cleared = diagnose(REASONER, case(Checked(check="clear_retainer")))
    assert ("retainer_disc_packed", "clear_retainer") in cleared.cleared
    assert cleared.step.id != "clear_retainer"
    assert chances(Checked(check="clear_retainer"))["retainer_disc_packed"] < (
        chances()["retainer_disc_packed"] / 5
    )


def test_what_a_check_found_is_mended_then_proved_then_cured() -> None:
    found = Checked(check="clear_retainer", found="retainer_disc_packed")
    assert diagnose(REASONER, case(found)).step.kind == "mend"
    mended = (found, Mended(cause="retainer_disc_packed"))
    asked = diagnose(REASONER, case(*mended)).step
    assert (asked.id, asked.counts) == ("often", True)
    assert diagnose(REASONER, case(*mended, NotKnown(sign="often"))).step.kind == "prove"
    cured = (*mended, Proved(cause="retainer_disc_packed", clean_ties=59, failed=False))
    end = diagnose(REASONER, case(*cured))
    assert end.step.kind == "cured"
    assert end.suspects[0].id == "retainer_disc_packed"


def test_a_failed_proof_clears_the_cause_and_the_new_failed_tie_is_looked_at_afresh() -> None:
    seen = Seen(sign="crop", answers=("hay",))
    events = (
        Checked(check="clear_retainer", found="retainer_disc_packed"),
        Mended(cause="retainer_disc_packed"),
        Proved(cause="retainer_disc_packed", clean_ties=3, failed=True),
        MadeSafe(),
    )
    failed = diagnose(REASONER, case(seen, *events))
    assert "retainer_disc_packed" not in [s.id for s in failed.suspects]
    assert failed.known.evidence.answers["crop"] == ("hay",)
    assert "hangs" not in failed.known.evidence.answers
    assert (failed.step.kind, failed.step.id, failed.step.opening) == ("ask", "hangs", True)


@pytest.mark.parametrize(
    ("value", "knotter", "found"),
    [(98, 4, "needle_travel_short"), (105, 4, None), (98, 2, None)],
)
def test_a_reading_settles_its_check_at_the_knotter_that_failed(
    value: float, knotter: int, found: str | None
) -> None:
    reading = Reading(setting="needle_travel", value=value, unit="mm", knotter=knotter)
    seen = Seen(sign="hangs", answers=("knot_one_end",), knotter=4)
    results = diagnose(REASONER, case(seen, reading)).known.evidence.results
    expected = [] if (value, knotter) == (98, 2) else [("measure_needle_travel", found)]
    assert list(results) == expected


def test_a_reading_on_the_limit_leaves_its_check_open() -> None:
    low = BASE.settings["needle_travel"].band[0]
    reading = Reading(setting="needle_travel", value=low, unit="mm")
    assert diagnose(REASONER, case(reading)).known.evidence.results == ()


def test_a_logged_code_is_a_sign_and_is_not_asked_again() -> None:
    logged = diagnose(
        REASONER, Case(id="log", events=(MadeSafe(), Logged(code="knotter_no_cycle")))
    )
    assert logged.known.evidence.answers["cycled"] == ("no",)
    assert logged.step.id != "cycled"


def test_an_unknown_id_is_told_with_the_nearest() -> None:
    with pytest.raises(InputError, match="did you mean 'look_at_hook'"):
        diagnose(REASONER, case(Checked(check="look_at_hok")))
