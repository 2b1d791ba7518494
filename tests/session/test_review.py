"""An answer changed where it stands: the rest stays, and changed back is as it was."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.bale.dialogue import Dialogue
from diagnose.case import Case, Checked, Event, Machine, MadeSafe, NotKnown, Reading, Seen
from diagnose.errors import InputError
from diagnose.knowledge import load_rules
from diagnose.session import Reasoner, diagnose
from diagnose.session.review import changed, told
from diagnose.views.diagnosis import diagnosis_view
from tests.technician import clock

BASE = load_rules()
REASONER = Reasoner(BASE)
START = datetime(2026, 7, 21, 14, tzinfo=UTC)


def at(minute: int) -> datetime:
    return START.replace(minute=minute)


CASE = Case(
    id="t",
    machine=Machine(knotters=6),
    events=(
        MadeSafe(at=at(0)),
        Seen(sign="hangs", answers=("slipped_open",), knotter=2, at=at(1), minutes=1),
        Seen(sign="hangs", answers=("knot_one_end",), knotter=5, at=at(1), minutes=0),
        Seen(sign="cycled", answers=("yes",), at=at(2), minutes=1),
        NotKnown(sign="since", at=at(3)),
        Checked(check="look_at_hook", at=at(5), minutes=2),
        Reading(setting="hook_clamp_spring", value=33, unit="mm", knotter=2, at=at(8), minutes=3),
    ),
)


def test_every_answer_is_listed_once_as_it_was_typed() -> None:
    answers = told(BASE, CASE)
    assert [one.step for one in answers] == [
        "hangs", "cycled", "since", "look_at_hook", "measure_clamp_spring"]  # fmt: skip
    assert len(answers[0].events) == 2


def test_a_changed_answer_keeps_its_place_and_time_and_the_rest_stays() -> None:
    old = told(BASE, CASE)[0]
    new: list[Event] = [Seen(sign="hangs", answers=("both_loose",), knotter=3)]
    after, aside = changed(BASE, CASE, old, new)
    assert not aside
    assert after.events[1] == Seen(
        sign="hangs", answers=("both_loose",), knotter=3, at=at(1), minutes=1
    )
    assert after.events[2:] == CASE.events[3:]


def test_an_answer_that_cannot_be_leaves_the_case_as_it_was() -> None:
    with pytest.raises(InputError, match="knotter 9"):
        changed(BASE, CASE, told(BASE, CASE)[0], [
            Seen(sign="hangs", answers=("both_loose",), knotter=9)])  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_changed_and_changed_back_gives_the_same_belief_and_step(data: st.DataObject) -> None:
    old = data.draw(st.sampled_from(told(BASE, CASE)))
    signs = st.sampled_from(list(BASE.signs["hangs"].answers))
    new: list[Event] = [Seen(sign="hangs", answers=(data.draw(signs),))]
    after, _ = changed(BASE, CASE, old, new)
    back = next(one for one in told(BASE, after) if one.events[0].at == old.events[0].at)
    again, aside = changed(BASE, after, back, list(old.events))
    assert not aside
    assert again == CASE
    known = diagnose(REASONER, again)
    assert diagnosis_view(BASE, known) == diagnosis_view(BASE, diagnose(REASONER, CASE))


class Typist:
    def __init__(self, *lines: str) -> None:
        self.lines, self.screen = list(lines), ""

    def say(self, lines: list[str]) -> None:
        self.screen += "\n".join(lines) + "\n"

    def ask(self, prompt: str) -> str:
        typed = self.lines.pop(0) if self.lines else "s"
        self.screen += f"{prompt}{typed}\n"
        return typed


def sitting(*lines: str) -> tuple[str, Case]:
    typist = Typist(*lines)
    dialogue = Dialogue(
        REASONER, Case(id="t", machine=Machine(knotters=6)), typist, lambda _: None,
        now=clock(START),
    )  # fmt: skip
    dialogue.run()
    return typist.screen, dialogue.case


def test_review_at_the_prompt_lists_and_changes_one() -> None:
    screen, case = sitting("y", "3", "1", "1", "r", "1", "6")
    assert "Answers so far:" in screen
    assert "1  What hangs from the bale where the tie failed? knot in one end" in screen
    assert [e.answers for e in case.events if isinstance(e, Seen)] == [
        ("slipped_open",), ("yes",), ("one",)]  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "said"),
    [(("r",), "nothing was answered yet"), (("3", "r", "7"), "type 1 to 1"),
     (("3", "r", "1", "99"), "there is no 99 here")],
)  # fmt: skip
def test_a_slip_in_a_review_changes_nothing(typed: tuple[str, ...], said: str) -> None:
    screen, case = sitting("y", *typed)
    assert said in screen
    assert [e.answers for e in case.events if isinstance(e, Seen)] in (
        [], [("knot_one_end",)])  # fmt: skip
