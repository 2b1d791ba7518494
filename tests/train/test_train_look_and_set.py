"""Looks, settings, the course, and what is shown of it all."""

from __future__ import annotations

from datetime import timedelta
from random import Random

import pytest
from fsrs import Card, Rating

from diagnose.case import Reading
from diagnose.errors import InputError
from diagnose.machine.profile import Adjuster, MachineFile
from diagnose.say.text import WIDTH
from diagnose.session import Reasoner
from diagnose.train.certificate import (
    NO_LICENCE,
    certificate_lines,
    certificate_of,
    certificate_page,
)
from diagnose.train.course import Course, next_item, stage_of
from diagnose.train.look import choice_lines, deal_look, question_lines
from diagnose.train.play import shown_sign
from diagnose.train.progress import crew_lines, progress_lines, strengths
from diagnose.train.schedule import item, reviewed
from diagnose.train.setting import Task, adjustable, deal_task, judge_set, parse_amount, task_of
from diagnose.train.store import Progress
from tests.train.conftest import MONDAY, Desk


def _sitting(names: list[str]) -> dict[str, Card]:
    """Cards of things learnt: easy at the first review."""
    return {name: reviewed({}, name, Rating.Easy, MONDAY).card for name in names}


def test_the_course_holds_every_mechanism_and_every_cause_once(
    course: Course, reasoner: Reasoner
) -> None:
    assert sorted(course.mechanisms) == sorted(reasoner.base.mechanisms)
    assert sorted(course.causes) == sorted({*reasoner.base.causes} - {"something_else"})
    assert 2 <= len(course.plain) < len(course.mechanisms)
    first = course.mechanisms[: len(course.plain)]
    assert set(first) == course.plain, "the plain ones come first"


def test_knots_that_were_never_tied_are_plainer_than_a_pinched_strand(course: Course) -> None:
    """Common practice, no source: twine uncut into the machine is told at a glance."""
    assert "never_turned" in course.plain
    assert course.mechanisms.index("never_turned") < course.mechanisms.index("pinched")


def test_plain_ones_come_first_then_look_alikes_then_two_faults(course: Course) -> None:
    plain = [c for c in course.causes if course.main[c] in course.plain]
    assert next_item(course, "cause", {}, MONDAY).name == course.causes[0]
    cards = _sitting([item("cause", name) for name in plain])
    assert stage_of(course, "cause", cards) == "look-alikes"
    following = next_item(course, "cause", cards, MONDAY)
    assert (following.reason, course.main[following.name] in course.plain) == ("new", False)
    cards = _sitting([item("cause", name) for name in course.causes])
    assert stage_of(course, "cause", cards) == "two faults"
    assert next_item(course, "cause", cards, MONDAY).reason == "ahead"


def test_what_is_due_goes_before_what_is_new(course: Course) -> None:
    missed = course.causes[3]
    name = item("cause", missed)
    cards = {name: reviewed({}, name, Rating.Again, MONDAY).card}
    assert next_item(course, "cause", cards, MONDAY).reason == "new"
    later = next_item(course, "cause", cards, MONDAY + timedelta(minutes=2))
    assert (later.name, later.reason) == (missed, "due")


def test_look_alikes_are_mixed_once_the_plain_ones_sit(course: Course) -> None:
    cards = _sitting([item("mechanism", name) for name in course.mechanisms])
    later = MONDAY + timedelta(days=400)
    for last in course.mechanisms:
        assert next_item(course, "mechanism", cards, later, last).name == course.likeness[last][0]


def test_every_answer_that_is_seen_first_has_a_picture_that_fits(reasoner: Reasoner) -> None:
    shown = reasoner.base.signs[shown_sign(reasoner.base)]
    assert set(shown.drawn) == set(shown.answers)
    lines = [line for picture in shown.drawn.values() for line in picture]
    assert max(map(len, lines)) <= WIDTH
    assert all(line.isascii() for line in lines)


def test_a_look_s_signs_mostly_speak_for_its_mechanism(course: Course, reasoner: Reasoner) -> None:
    telling = 0
    for mechanism in course.mechanisms:
        look = deal_look(reasoner.tables, course, mechanism, Random(2))
        assert look.mechanism == mechanism
        assert len(look.answers) == 3
        telling += next(iter(look.chances)) == mechanism
    assert telling >= len(course.mechanisms) - 1


def test_a_look_asks_without_telling(course: Course, reasoner: Reasoner) -> None:
    look = deal_look(reasoner.tables, course, "pinched", Random(2))
    shown = " ".join(question_lines(reasoner.tables, look))
    assert reasoner.base.mechanisms["pinched"].name not in shown
    assert len(choice_lines(reasoner.tables)) == len(reasoner.base.mechanisms)


def test_looks_are_answered_judged_and_kept(desk: Desk, course: Course, reasoner: Reasoner) -> None:
    first = reasoner.base.mechanisms[course.mechanisms[0]].name
    text = desk.look(first, "no such thing", "", "leave", times=3)
    assert "Right: " in text
    assert "1 right." in text
    assert "nothing here is called 'no such thing'" in text
    with Progress(desk.path) as progress:
        (practice,) = progress.practices("Anna")
        assert (practice.kind, practice.right) == ("look", True)
        assert list(progress.cards("Anna")) == [item("mechanism", course.mechanisms[0])]


def _task(reasoner: Reasoner, value: float, thread: str = "M10", unit: str = "mm") -> Task:
    machine = MachineFile(
        name="own", knotters=6, adjusters={"retainer_spring": Adjuster(thread=thread, direct=True)}
    )
    reading = Reading(setting="retainer_spring", value=value, unit=unit)
    return task_of(reasoner.base, "retainer_spring", reading, Random(1), machine)


def test_three_millimetres_on_an_m10_are_two_turns(reasoner: Reasoner) -> None:
    """ISO 261: M10 coarse has a pitch of 1.5 mm."""
    task = _task(reasoner, 31.0)
    assert parse_amount(task, "2 turns") == parse_amount(task, "3 mm") == pytest.approx(3.0)
    assert parse_amount(task, "1 turn 6 flats") == pytest.approx(3.0)
    assert parse_amount(task, "1 turn and 6 flats") == pytest.approx(3.0)
    assert parse_amount(task, "1 flat") == pytest.approx(0.25)
    assert judge_set(task, "less", 3.0).right
    assert judge_set(task, "less", 3.0).after == pytest.approx(28.0)


def test_the_wrong_way_too_far_and_left_alone_are_not_right(reasoner: Reasoner) -> None:
    task = _task(reasoner, 31.0)
    assert not judge_set(task, "more", 3.0).right
    assert not judge_set(task, "less", 6.0).right
    assert not judge_set(task, "leave").right
    assert not judge_set(task, "less", 1.6).right, "on its limit is not in its band"


def test_what_is_in_its_band_is_left_alone(reasoner: Reasoner) -> None:
    task = _task(reasoner, 28.0)
    assert judge_set(task, "leave").right
    assert not judge_set(task, "less", 0.1).right


def test_what_the_sheet_says_is_always_judged_right(reasoner: Reasoner) -> None:
    for name in adjustable(reasoner.base):
        for seed in range(40):
            task = deal_task(reasoner.base, name, Random(seed))
            move = task.wanted.move
            way = "leave" if not task.wanted.wanted else "more" if move > 0 else "less"
            assert judge_set(task, way, abs(move)).right, (name, seed)  # type: ignore[arg-type]
            turns = task.wanted.turns
            if task.wanted.wanted and turns:
                said = parse_amount(task, str(turns))
                assert said == pytest.approx(abs(turns.rounded) * (task.wanted.per_turn or 0))
                assert judge_set(task, way, said).right, (name, seed)  # type: ignore[arg-type]


def test_an_amount_that_is_none_is_refused(reasoner: Reasoner) -> None:
    for text in ("two turns", "2 turns more", "3 N", "", "many", "3", "1 1/2", "2,5"):
        with pytest.raises(InputError):
            parse_amount(_task(reasoner, 31.0), text)
    brake = deal_task(reasoner.base, "twine_brake", Random(1))
    with pytest.raises(InputError, match="say it in N"):
        parse_amount(brake, "2 turns")


def test_a_slip_in_the_reading_is_asked_back_and_nothing_is_lost(desk: Desk) -> None:
    text = desk.set_up("retainer_spring", "2.8", "x", "31", "2", "3 mm")
    assert "is 28 mm meant (decimal point)?" in text
    assert "'x' is no number" in text
    assert "It reads 31.0 mm" in text
    assert "It reads 2.8 mm" in desk.set_up("retainer_spring", "2.8!", "3")


def test_setting_a_part_says_when_its_tolerance_is_only_an_example(desk: Desk) -> None:
    text = " ".join(desk.set_up("retainer_spring", "31", "3").split())
    assert "Not known for your machine. Example: 28.0 mm" in text


def test_an_own_reading_in_inches_is_set_and_kept(desk: Desk) -> None:
    text = desk.set_up("retainer_spring", "1 1/4 in", "2", "x", "3.75 mm")
    assert "It reads 1.25 in" in text
    assert "'x' is no number" in text
    assert "Right. It would read 28.0 mm." in text
    with Progress(desk.path) as progress:
        (practice,) = progress.practices("Anna")
        assert (practice.kind, practice.item, practice.right) == ("set", "retainer_spring", True)


def test_progress_shows_strong_and_weak_in_words_and_as_a_picture(
    desk: Desk, course: Course, reasoner: Reasoner
) -> None:
    base = reasoner.base
    names = [base.mechanisms[m].name for m in course.mechanisms[:2]]
    desk.look(names[0], names[0], times=2)
    with Progress(desk.path) as progress:
        practices, cards = progress.practices("Anna"), progress.cards("Anna")
    stands = {s.mechanism: s for s in strengths(course, practices, cards, desk.now)}
    first, second = (stands[name] for name in course.mechanisms[:2])
    assert (first.word, first.picture) == ("coming", ".......#")
    assert (second.word, second.picture) == ("weak", ".......-")
    lines = progress_lines(base, course, "Anna", practices, cards, desk.now)
    assert f"Weak: {names[1]}." in lines
    assert max(map(len, lines)) <= WIDTH
    row = crew_lines(base, course, {"Anna": (practices, cards)}, desk.now)
    assert any("Anna" in line for line in row)
    assert max(map(len, row)) <= WIDTH


def test_a_mechanism_is_strong_until_its_day_and_then_fades(course: Course, desk: Desk) -> None:
    name = course.mechanisms[0]
    cards = _sitting([item("mechanism", name)])
    desk.look(desk.reasoner.base.mechanisms[name].name)
    with Progress(desk.path) as progress:
        practices = progress.practices("Anna")
    today = strengths(course, practices, cards, MONDAY)[0]
    assert today.word == "strong"
    assert strengths(course, practices, cards, MONDAY + timedelta(days=90))[0].word == "fading"


def test_a_certificate_says_what_was_practised_and_that_it_is_no_licence(
    desk: Desk, course: Course, reasoner: Reasoner
) -> None:
    base = reasoner.base
    desk.look(base.mechanisms[course.mechanisms[0]].name)
    desk.set_up("retainer_spring", "31", "2", "3 mm")
    desk.case("4711", "check look_at_hook", learner="Anna")
    with Progress(desk.path) as progress:
        page = certificate_of(
            base, course, "Anna <b>", progress.practices("Anna"), progress.cards("Anna"), desk.now
        )
    text = " ".join(" ".join(certificate_lines(page)).split())
    html = certificate_page(page)
    for part in ("1 case ended by an unsafe step", "1 look at a failed tie, 1 right", "2026-05-04"):
        assert part in text
    assert NO_LICENCE in text
    assert NO_LICENCE in html
    assert "Anna &lt;b&gt;" in html
    assert "http" not in html.replace("http://www.w3.org/2000/svg", "")
    assert max(map(len, certificate_lines(page))) <= WIDTH
