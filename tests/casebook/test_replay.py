"""Replaying solved cases: ranks, scores, minutes by every way, and what a rule change did."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest

from diagnose.case import (
    AnyEvent,
    Case,
    Checked,
    Machine,
    MadeSafe,
    Mended,
    Noted,
    Proved,
    Reading,
    Seen,
)
from diagnose.casebook.changes import changed_rules, compare, items_of, taken_back
from diagnose.casebook.paths import (
    chart_minutes,
    paths,
    planned_minutes,
    recorded_minutes,
    taken_minutes,
)
from diagnose.casebook.replay import Solved, judge, opening, replay
from diagnose.casebook.steps import steps_done
from diagnose.casebook.store import Casebook
from diagnose.errors import InputError
from diagnose.inference.graph import setup_minutes
from diagnose.knowledge.load import load_rules
from diagnose.knowledge.model import Knowledge
from diagnose.session.reasoner import Reasoner
from tests.casebook.samples import MAY

BASE = load_rules()
REASONER = Reasoner(BASE)


def _case(*events: AnyEvent, cause: str = "clamp_spring_weak", number: int = 1) -> Solved:
    ending = (Mended(cause=cause), Proved(cause=cause, clean_ties=59, failed=False))
    case = Case(
        id=f"case-{number}",
        opened=MAY,
        machine=Machine(name="Baler A", type="type L", knotters=6),
        events=(MadeSafe(), *events, *ending),
    )
    return Solved(case, cause)


OPEN_KNOT = (
    Seen(sign="hangs", answers=("slipped_open",)),
    Seen(sign="cycled", answers=("yes",)),
    Seen(sign="which", answers=("one",)),
    Seen(sign="end_marks", answers=("both_curled",)),
)
SPRING = _case(
    *OPEN_KNOT,
    Checked(check="look_at_hook", minutes=9),
    Reading(setting="hook_clamp_spring", value=35.4, unit="mm", knotter=5, minutes=4),
)


def test_a_case_is_judged_by_what_was_known_before_its_first_check() -> None:
    assert opening(SPRING.case).events == (MadeSafe(), *OPEN_KNOT)
    assert judge(REASONER, SPRING).chances == judge(REASONER, _case(*OPEN_KNOT)).chances


def test_rank_and_chance_are_those_of_the_posterior() -> None:
    judged = judge(REASONER, SPRING)
    assert sum(judged.chances) == pytest.approx(1)
    assert judged.rank == 1 + sum(chance > judged.chance for chance in judged.chances)
    assert judged.rank <= 3


def test_scores_are_those_of_the_single_cases() -> None:
    cases = [SPRING, _case(*OPEN_KNOT, cause="hook_worn", number=2)]
    found = replay(REASONER, cases)
    assert found.log_score == pytest.approx(np.mean([-np.log(j.chance) for j in found.judged]))
    assert found.first == sum(judged.rank == 1 for judged in found.judged)
    assert sum(b.n for b in found.reliability((0, 0.5, 1))) == 2 * len(BASE.causes)


def test_with_learning_a_case_is_judged_by_those_before_it_and_never_by_itself() -> None:
    cases = [_case(*OPEN_KNOT, cause="hook_worn", number=n) for n in range(4)]
    alone, learnt = replay(REASONER, cases), replay(REASONER, cases, learning=True)
    assert learnt.judged[0].chance == pytest.approx(alone.judged[0].chance)
    chances = [judged.chance for judged in learnt.judged]
    assert chances == sorted(set(chances))


def test_a_case_that_the_rules_cannot_read_is_left_out_and_named() -> None:
    strange = _case(Seen(sign="hang", answers=("slipped_open",)), number=2)
    gone = _case(*OPEN_KNOT, cause="gearbox", number=3)
    found = replay(REASONER, [SPRING, strange, gone])
    assert [judged.case.id for judged in found.judged] == ["case-1"]
    assert [case_id for case_id, _ in found.left_out] == ["case-2", "case-3"]
    assert "did you mean 'hangs'" in found.left_out[0][1]


def test_steps_carry_the_way_to_them_and_readings_in_a_row_are_one_step() -> None:
    readings = [
        Reading(setting="hook_clamp_spring", value=33, unit="mm", knotter=n, minutes=m)
        for n, m in ((1, 6), (2, 0), (3, 0))
    ]
    events = (*OPEN_KNOT[:1], *readings, Checked(check="look_at_hook", minutes=5))
    done = steps_done(BASE, setup_minutes(BASE), events)
    assert [(d.step, d.way, d.taken) for d in done] == [
        ("hangs", 0, None),
        ("measure_clamp_spring", 4, 6),
        ("look_at_hook", 0, 5),
    ]


def test_recorded_and_clocked_minutes_add_up_by_hand() -> None:
    """Questions .5 + .5 + 1 + .5; deck open 4, hook 3, spring 2. By the clock 9 + 4."""
    assert recorded_minutes(REASONER, SPRING) == pytest.approx(2.5 + 4 + 3 + 2)
    assert taken_minutes(REASONER, SPRING) == pytest.approx(2.5 + 9 + 4)
    untimed = _case(*OPEN_KNOT, Checked(check="look_at_hook"))
    assert taken_minutes(REASONER, untimed) is None


def test_a_chart_finds_the_fault_or_ends_in_a_call() -> None:
    assert chart_minutes(REASONER, SPRING) < BASE.base.call_minutes
    nowhere = _case(*OPEN_KNOT, cause="something_else")
    assert chart_minutes(REASONER, nowhere) > BASE.base.call_minutes
    assert paths(REASONER, nowhere).called == BASE.base.call_minutes


def test_the_planner_asks_only_what_the_record_answers_and_finds_the_fault() -> None:
    planned = planned_minutes(REASONER, _case(*OPEN_KNOT, Noted(text="quick")))
    assert 2 < planned < 30


def test_a_check_that_overlooked_the_fault_overlooks_it_in_the_replay_too() -> None:
    measuring = Checked(check="measure_clamp_spring")
    missed = _case(*OPEN_KNOT, measuring, Checked(check="pull_jaw_open", found="clamp_spring_weak"))
    assert planned_minutes(REASONER, missed) > planned_minutes(REASONER, _case(*OPEN_KNOT))


def test_a_second_fault_that_the_case_held_is_found_and_mended_on_the_way() -> None:
    dirt_first = (
        *OPEN_KNOT,
        Checked(check="look_for_dirt", found="knotters_dirty"),
        Mended(cause="knotters_dirty"),
        Proved(cause="knotters_dirty", clean_ties=4, failed=True),
    )
    assert planned_minutes(REASONER, _case(*dirt_first)) < BASE.base.call_minutes


def _weaker_rule() -> tuple[str, Knowledge]:
    """The rule that an open knot speaks for a hook that does not hold, taken out."""
    name = "not_held/hangs"
    shows = {key: rule for key, rule in BASE.shows.items() if key != name}
    return f"shows:{name}", dataclasses.replace(BASE, shows=shows, digest="before")


def test_rules_are_compared_item_by_item() -> None:
    key, before = _weaker_rule()
    assert changed_rules(items_of(before), items_of(BASE)) == {key: "added"}
    assert changed_rules(items_of(BASE), items_of(before)) == {key: "removed"}
    assert changed_rules(items_of(BASE), items_of(BASE)) == {}


def test_taking_an_item_back_gives_the_rule_base_before() -> None:
    key, before = _weaker_rule()
    assert items_of(taken_back(BASE, key, None)) == items_of(before)
    again = taken_back(before, key, items_of(BASE)[key])
    assert items_of(again) == items_of(BASE)


def test_a_change_is_blamed_for_the_cases_it_made_better(where: str) -> None:
    key, before = _weaker_rule()
    old = replay(Reasoner(before), [SPRING])
    with Casebook(where) as book:
        kept = {j.case.id: (j.chance, j.rank) for j in old.judged}
        book.save_replay("before", items_of(before), kept)
        assert book.last_replay(other_than="before") is None
        last = book.last_replay(other_than=BASE.digest)
    assert last is not None
    changes = compare(BASE, replay(REASONER, [SPRING]), *last)
    (effect,) = changes.effects
    assert effect.gain > 0
    ((blamed, gain),) = effect.by
    assert blamed == key
    assert gain == pytest.approx(effect.gain)


def test_what_only_proves_a_rule_is_no_change_of_it() -> None:
    """Bales now, and the cases of `fits` and `not` that an earlier replay kept with each rule."""
    replayed = replay(REASONER, [SPRING])
    assert "bales" not in json.loads(items_of(BASE)["causes:hook_worn"])
    kept = {
        key: json.dumps({**json.loads(item), "fits": [{"crop": "hay"}], "not": [{"crop": "wet"}]})
        for key, item in items_of(BASE).items()
        if not key.startswith("words:")
    }
    words = {key: item for key, item in items_of(BASE).items() if key.startswith("words:")}
    assert compare(BASE, replayed, "before", kept | words, {}).rules == ()
    del kept["shows:not_held/hangs"]
    changed = compare(BASE, replayed, "before", kept | words, {}).rules
    assert changed == (("shows:not_held/hangs", "added"),)


def test_a_replay_of_the_same_rules_replaces_the_one_before(where: str) -> None:
    with Casebook(where) as book:
        for chance in (0.2, 0.4):
            book.save_replay("one", {"words:often": "0.7"}, {"case-1": (chance, 2)})
        last = book.last_replay(other_than="two")
    assert last is not None
    assert last[1:] == ({"words:often": "0.7"}, {"case-1": (0.4, 2)})


def test_unknown_causes_are_told_by_judging_too() -> None:
    with pytest.raises(InputError, match="no cause 'gearbox'"):
        judge(REASONER, _case(*OPEN_KNOT, cause="gearbox"))


def test_a_priced_path_goes_on_after_a_check_for_which_the_machine_ran() -> None:
    """The way of `turn_density_down` ends with a machine to be made safe, not with a call."""
    burst = (Seen(sign="hangs", answers=("burst_at_knot",)), Seen(sign="cycled", answers=("yes",)))
    told = (Seen(sign="which", answers=("all",)), Seen(sign="density", answers=("high",)))
    events = (*burst, *told, Checked(check="turn_density_down"), MadeSafe(),
              Checked(check="read_labels", found="twine_thin"))  # fmt: skip
    solved = _case(*events, cause="twine_thin")
    assert planned_minutes(REASONER, solved) < BASE.base.call_minutes
