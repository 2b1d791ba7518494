"""Cases played at the terminal: what is safe, what is judged, what is kept, what is told."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from random import Random

import pytest

from diagnose.errors import InputError
from diagnose.knowledge import load_rules
from diagnose.knowledge.acts import best_finder
from diagnose.say.text import WIDTH
from diagnose.session import Reasoner
from diagnose.train import wording
from diagnose.train.deal import deal, deals_with
from diagnose.train.judge import Judge, entropy, score
from diagnose.train.planner_way import planner_plays, with_precautions
from diagnose.train.play import (
    CHANGE_MINUTES,
    HINT_MINUTES,
    Move,
    Played,
    from_moves,
    shown_sign,
    start,
)
from diagnose.train.safety import first_word, needed, precautions, reminders
from diagnose.train.store import Progress
from diagnose.train.story import story_lines, telling_rule
from tests.train.conftest import Desk, Script

BASE = load_rules()
PRECAUTIONS = precautions(BASE)
FIRST = first_word(BASE)
SAFE = [Move("safe", word) for word in PRECAUTIONS]


def test_the_learner_sees_what_hangs_from_the_bale_and_nothing_else(reasoner: Reasoner) -> None:
    for number in range(1, 50):
        here = start(reasoner.tables, deal(reasoner.tables, str(number)))
        assert [sign for sign, _ in here.answers] == ["hangs"] == [shown_sign(reasoner.base)]
        assert not here.results
        assert here.minutes == 0


def test_every_check_and_every_look_at_the_machine_asks_for_a_stopped_machine_first(
    reasoner: Reasoner,
) -> None:
    """29 CFR 1928.57(a)(6): stop the engine, disconnect the power, wait for movement to stop."""
    base = reasoner.base
    for check in base.checks:
        assert needed(base, "check", check)[0] == FIRST
    for name, sign in base.signs.items():
        if sign.setup != base.start_setup:
            assert needed(base, "ask", name)[0] == FIRST


def test_nothing_at_the_knotters_is_safe_with_the_flywheel_turning(reasoner: Reasoner) -> None:
    base = reasoner.base
    at_knotters = [n for n, c in base.checks.items() if "deck" in c.setup or "needles" in c.setup]
    assert len(at_knotters) > 15
    for check in at_knotters:
        assert {"block", "lock"} <= set(needed(base, "check", check))


def test_setting_a_part_right_asks_for_what_its_checks_ask_for(reasoner: Reasoner) -> None:
    """29 CFR 1928.57(a)(6) names adjusting and cleaning beside servicing: stopped first."""
    base, tables = reasoner.base, reasoner.tables
    for cause in wording.cause_labels(base):
        wanted = needed(base, "name", cause)
        assert wanted[0] == FIRST
        own = {
            w for w, (caution, _) in PRECAUTIONS.items() if caution in base.causes[cause].cautions
        }
        assert own <= set(wanted)
        assert set(needed(base, "check", best_finder(base, cause))) <= set(wanted)
    assert {"block", "lock"} <= set(needed(base, "name", "hook_worn"))
    played = from_moves(tables, deal(tables, "7"), [Move("safe", FIRST), Move("name", "hook_worn")])
    assert (played.here.end, played.here.forgot) == ("unsafe", "block")
    assert not played.here.mended


def test_every_caution_of_a_step_is_asked_for_or_said(reasoner: Reasoner) -> None:
    base = reasoner.base
    asked_for = {word: caution for word, (caution, _) in PRECAUTIONS.items()}
    for name, check in base.checks.items():
        heard = {asked_for[word] for word in needed(base, "check", name)}
        heard |= set(reminders(base, "check", name))
        assert {*check.cautions, *base.setups[check.setup].cautions} <= heard
    assert "restart" in reminders(base, "name", "hook_worn")


def test_a_caution_is_said_in_full_once_and_then_by_name(desk: Desk) -> None:
    text = desk.case("4711", "safe block lock", "check look_at_hook", "check try_knife")
    assert text.count("Cut-proof gloves on.") == 1
    assert text.index("Cut-proof gloves on.") < text.index("Suspects worth counting")
    assert "as before: " in text


@pytest.mark.parametrize("left_out", list(PRECAUTIONS))
def test_a_step_without_what_makes_it_safe_ends_the_case_with_its_caution(
    reasoner: Reasoner, left_out: str
) -> None:
    base, tables = reasoner.base, reasoner.tables
    check = next(name for name in base.checks if left_out in needed(base, "check", name))
    taken = [Move("safe", word) for word in needed(base, "check", check) if word != left_out]
    if left_out == FIRST:
        taken = []
    played = from_moves(tables, deal(tables, "7"), [*taken, Move("check", check)])
    assert played.here.end == "unsafe"
    assert played.here.forgot == left_out
    told = " ".join(wording.unsafe_lines(base, left_out))
    caution = base.cautions[PRECAUTIONS[left_out][0]]
    assert " ".join(caution.danger.split()) in " ".join(told.split())


def test_reaching_in_to_block_what_still_runs_is_unsafe(reasoner: Reasoner) -> None:
    played = from_moves(reasoner.tables, deal(reasoner.tables, "7"), [Move("safe", "block")])
    assert played.here.end == "unsafe"


def test_after_a_check_for_which_the_machine_runs_it_is_made_safe_anew(
    reasoner: Reasoner,
) -> None:
    case = deal(reasoner.tables, "7")
    ran = [*SAFE, Move("check", "turn_density_down")]
    played = from_moves(reasoner.tables, case, [*ran, Move("check", "look_at_hook")])
    assert (played.here.end, played.here.forgot) == ("unsafe", FIRST)
    again = from_moves(reasoner.tables, case, [*ran, *SAFE, Move("check", "look_at_hook")])
    assert again.here.end is None


def test_the_driver_may_be_asked_from_anywhere_and_costs_no_way(reasoner: Reasoner) -> None:
    tables = reasoner.tables
    moves = [*SAFE, Move("check", "look_at_hook"), Move("ask", "since")]
    played = from_moves(tables, deal(tables, "7"), moves)
    assert played.here.setup == "deck_open"
    assert played.outcomes[-1].way == 0


def test_minutes_are_those_of_the_rule_base_with_the_way_to_each_place(reasoner: Reasoner) -> None:
    base, tables = reasoner.base, reasoner.tables
    moves = [*SAFE, Move("check", "measure_clamp_spring"), Move("check", "measure_needle_height")]
    played = from_moves(tables, deal(tables, "7"), moves)
    to_deck, to_needles = base.moves["round_to_deck"].minutes, base.moves["deck_to_raised"].minutes
    looks = sum(base.checks[move.id].minutes for move in moves[-2:])
    assert played.here.minutes == to_deck + to_needles + looks


def test_a_part_changed_on_suspicion_costs_the_change_right_or_wrong(reasoner: Reasoner) -> None:
    tables = reasoner.tables
    case = next(deals_with(tables, Random(3), cause="hook_rough"))
    right = from_moves(tables, case, [*SAFE, Move("name", "hook_rough")])
    wrong = from_moves(tables, case, [*SAFE, Move("name", "hook_worn")])
    assert (right.here.end, right.here.minutes) == ("found", CHANGE_MINUTES)
    assert (wrong.here.end, wrong.here.minutes) == (None, CHANGE_MINUTES)
    assert wrong.here.taken == frozenset(), "the machine ran: nothing is safe any more"


def test_a_mended_fault_can_leave_a_second_one_whose_tie_is_seen_afresh(
    reasoner: Reasoner, judge: Judge
) -> None:
    case = deal(reasoner.tables, "12/2")
    played = planner_plays(judge, case)
    assert played.here.end == "found"
    assert {fault.cause for fault in case.faults} <= played.here.mended
    names = [move.id for move in played.moves if move.kind == "name"]
    assert names[-1] == case.faults[1].cause


def test_the_planner_loses_nothing_and_finds_what_is_hidden(judge: Judge) -> None:
    for number in range(1, 9):
        played = planner_plays(judge, deal(judge.tables, str(number)))
        judgements = judge.judged(played)
        assert played.here.end == "found"
        assert all(judgement.loss == 0 for judgement in judgements)
        assert score(judgements) == 100


def test_minutes_of_all_judgements_are_the_minutes_of_the_case(judge: Judge) -> None:
    case = deal(judge.tables, "4711")
    looks = [Move("ask", "crop"), Move("hint"), Move("check", "weigh_twine"), Move("call")]
    played = Played.begun(judge.tables, case).then(judge.tables, *SAFE, *looks)
    judgements = judge.judged(played)
    assert sum(judgement.minutes for judgement in judgements) == pytest.approx(played.here.minutes)
    assert [judgement.move for judgement in judgements] == looks


def test_a_hint_is_all_loss_and_names_the_planner_s_step(judge: Judge) -> None:
    case = deal(judge.tables, "4711")
    played = Played.begun(judge.tables, case).then(judge.tables, Move("hint"))
    (hint,) = judge.judged(played)
    assert hint.loss == hint.minutes == HINT_MINUTES
    assert hint.best == judge.best(played.here)


def test_a_poor_step_loses_minutes_and_promises_less_than_the_best(judge: Judge) -> None:
    case = next(deals_with(judge.tables, Random(1), cause="clamp_spring_weak"))
    played = Played.begun(judge.tables, case)
    played = with_precautions(judge, played, Move("check", "measure_needle_to_plunger"))
    (judgement,) = judge.judged(played)
    assert judgement.loss > 5
    assert judgement.rate < judgement.best_rate


def test_the_same_question_twice_tells_nothing_and_is_all_loss(judge: Judge) -> None:
    case = deal(judge.tables, "4711")
    again = [Move("ask", "tails"), Move("ask", "tails")]
    played = Played.begun(judge.tables, case).then(judge.tables, *again)
    first, second = judge.judged(played)
    assert second.rate == 0
    assert second.loss == pytest.approx(second.minutes)
    assert first.suspects is not None
    assert second.suspects is not None
    assert second.suspects[0] == pytest.approx(second.suspects[1])


def test_n_suspects_alike_count_n() -> None:
    """Entropy of n equal chances is log2 n (Shannon, 1948)."""
    import numpy as np

    for n in (1, 2, 8, 49):
        assert 2 ** entropy(np.full(n, 0.3)) == pytest.approx(n)


def test_naming_after_the_find_is_in_time_and_later_is_too_late(judge: Judge) -> None:
    tables = judge.tables
    case = next(
        case
        for case in deals_with(tables, Random(1), cause="clamp_spring_weak")
        if planner_plays(judge, case).outcomes
    )
    moves = [*SAFE, Move("check", "measure_clamp_spring")]
    while from_moves(tables, case, moves).here.found is None:
        moves.append(Move("check", "measure_clamp_spring"))
    name = Move("name", "clamp_spring_weak")
    in_time = judge.judged(from_moves(tables, case, [*moves, name]))[-1]
    assert (in_time.early, in_time.late, in_time.loss) == (False, 0, 0)
    dawdling = judge.judged(from_moves(tables, case, [*moves, Move("check", "try_knife"), name]))
    assert dawdling[-1].late == dawdling[-2].loss > 0
    early = judge.judged(from_moves(tables, case, [*SAFE, name]))[-1]
    assert early.early
    assert early.loss >= CHANGE_MINUTES


def test_the_story_tells_mechanism_rule_tolerance_with_basis_and_what_to_do(
    reasoner: Reasoner,
) -> None:
    tables, base = reasoner.tables, reasoner.base
    case = next(deals_with(tables, Random(1), cause="retainer_spring_weak"))
    told = " ".join(" ".join(story_lines(tables, case, 0)).split())
    telling = telling_rule(tables, case, 0)
    assert telling is not None
    assert telling.rule in base.shows
    mechanism = base.mechanisms[case.faults[0].mechanism]
    setting = base.settings["retainer_spring"]
    for part in (
        mechanism.story,
        base.shows[telling.rule].why,
        f"{setting.nominal:.1f} mm",
        str(setting.basis),
        base.causes["retainer_spring_weak"].mend,
    ):
        assert " ".join(part.split()) in told


def test_every_cause_has_a_story_that_fits_the_screen(reasoner: Reasoner) -> None:
    tables = reasoner.tables
    stories = {}
    for number in range(1, 700):
        case = deal(tables, str(number))
        if case.faults[0] not in stories:
            stories[case.faults[0]] = story_lines(tables, case, 0)
    assert not any(", none." in line for lines in stories.values() for line in lines)
    assert {fault.cause for fault in stories} == {*tables.causes} - {"something_else"}
    assert max(len(line) for lines in stories.values() for line in lines) <= WIDTH


def test_lists_number_what_can_be_typed_and_fit_the_screen(reasoner: Reasoner) -> None:
    tables, base = reasoner.tables, reasoner.base
    here = start(tables, deal(tables, "7"))
    for lines, labels in (
        (wording.look_list(tables, here, "ask"), wording.sign_labels(base)),
        (wording.look_list(tables, here, "check"), wording.check_labels(base)),
        (wording.cause_list(base), wording.cause_labels(base)),
    ):
        numbers = [int(line[:4]) for line in lines if line[:4].strip().isdigit()]
        assert numbers == list(range(1, len(labels) + 1))
        assert max(map(len, lines)) <= WIDTH


def test_after_each_step_at_most_three_short_lines_judge_it(judge: Judge) -> None:
    tables = judge.tables
    random = Random(5)
    for number in range(1, 6):
        played = Played.begun(tables, deal(tables, str(number)))
        moves = [
            Move("ask", random.choice(list(wording.sign_labels(tables.base)))),
            Move("check", random.choice(tables.checks)),
            Move("name", random.choice(list(wording.cause_labels(tables.base)))),
        ]
        for move in moves:
            played = with_precautions(judge, played, move)
        for judgement in judge.judged(played):
            lines = wording.judgement_lines(tables, judgement, 100)
            assert 1 <= len(lines) <= 3
            assert max(map(len, lines)) <= WIDTH


def test_a_case_left_is_there_again_with_all_that_was_typed(desk: Desk) -> None:
    first = desk.case("4711", "ask tails", "safe")
    assert "The case waits for you" in first
    again = desk.case(None, "notes", "name hook_worn")
    assert "Going on where you left" in again
    assert "ends of the failed strand" in again


def test_another_case_waits_until_the_open_one_is_done_or_given_up(desk: Desk) -> None:
    desk.case("4711", "leave")
    with pytest.raises(InputError, match="4711 is still open"):
        desk.case("12", "leave")
    with Progress(desk.path) as progress:
        desk.lessons(progress, Script([])).case("12", drop=True)
        assert progress.open_case("Anna") == ("12", [], desk.reasoner.base.digest)


def test_an_ended_case_is_recorded_with_its_reviews_and_is_no_longer_open(desk: Desk) -> None:
    text = desk.case("4711", "safe block lock", "name hook_worn")
    assert "the ties hold" in text
    assert "Too early" in text
    with Progress(desk.path) as progress:
        (practice,) = progress.practices("Anna")
        assert practice.right
        assert practice.planner_minutes
        assert progress.open_case("Anna") is None
        assert "cause:hook_worn" in progress.cards("Anna")


def test_an_unsafe_step_is_told_with_the_reason_and_the_story_and_comes_back(desk: Desk) -> None:
    text = desk.case("4711", "check look_at_hook")
    assert "UNSAFE" in text
    assert "Stop the engine, take the power off" in text
    assert "It was" in text
    with Progress(desk.path) as progress:
        (practice,) = progress.practices("Anna")
        assert (practice.end, practice.score) == ("unsafe", 0)
        assert progress.cards("Anna")["cause:hook_worn"].due <= desk.now + timedelta(minutes=1)


def test_two_people_on_one_case_are_compared(desk: Desk) -> None:
    desk.case("4711", "safe block lock", "name hook_worn", learner="Bo")
    desk.case("4711", "check look_at_hook", learner="Cleo")
    text = desk.case("4711", "safe block lock", "check look_at_hook", "name hook_worn")
    assert "Bo on this case: 30 min, score 0" in text
    assert "Cleo on this case: ended by an unsafe step" in text


def test_what_is_not_understood_is_answered_and_costs_nothing(desk: Desk) -> None:
    text = desk.case(
        "4711", "", "chekc 3", "ask moon", "ask knotter", "check 99", "safe moon", "band", "notes"
    )
    for part in (
        "did you mean 'check'",
        "nothing here is called 'moon'",
        "may be",
        "there is no 99",
        "'moon' makes nothing safe",
        "nothing has been measured yet",
        "nothing yet",
    ):
        assert part in text
    with Progress(desk.path) as progress:
        opened = progress.open_case("Anna")
    assert opened == ("4711", [], desk.reasoner.base.digest)


def test_a_cause_set_right_is_not_set_right_twice(desk: Desk) -> None:
    text = desk.case("4711", "safe block lock", "name hook_rough", "name hook_rough", "notes")
    assert "was set right already" in text
    with Progress(desk.path) as progress:
        opened = progress.open_case("Anna")
    assert opened is not None
    assert opened[1][-1:] == [Move("name", "hook_rough")]
    assert [move.kind for move in opened[1]].count("name") == 1


def test_a_case_left_open_under_other_rules_begins_afresh(desk: Desk) -> None:
    with Progress(desk.path) as progress:
        progress.keep_open("Anna", "4711", [Move("ask", "no_longer_there")], "other rules")
    assert "The rules have changed since" in desk.case(None, "leave")


def test_inches_are_shown_on_request(desk: Desk) -> None:
    script = Script(["safe block lock", "check measure_clamp_spring", "band"])
    with Progress(desk.path) as progress:
        replace(desk.lessons(progress, script), inches=True).case("4711")
    assert "1.299 in" in script.text
    assert " mm" not in script.text.split("It reads")[1]


def test_without_a_number_the_course_deals_its_first_cause(desk: Desk, reasoner: Reasoner) -> None:
    desk.case(None)
    with Progress(desk.path) as progress:
        opened = progress.open_case("Anna")
        lessons = desk.lessons(progress, Script([]))
        assert opened is not None
        assert deal(reasoner.tables, opened[0]).faults[0].cause == lessons.course.causes[0]


def test_a_screen_is_never_wider_than_eighty_columns(desk: Desk, tmp_path: Path) -> None:
    script = Script(
        ["h", "ask", "check", "name", "ask tails", "safe block lock", "check measure_clamp_spring",
         "band", "hint", "notes", "name dirty", "call"]
    )  # fmt: skip
    with Progress(tmp_path / "wide.db") as progress:
        desk.lessons(progress, script).case("4711")
    assert max(len(line) for said in script.screen for line in said.splitlines()) <= WIDTH


def test_block_and_lock_are_taken_anew_after_the_machine_was_turned_by_hand(
    judge: Judge,
) -> None:
    """Common practice, no source: block, lock and prop are off while one turns."""
    tables = judge.tables
    turned = Move("check", "measure_stripper_reach")
    played = with_precautions(judge, Played.begun(tables, deal(tables, "7")), turned)
    assert not played.here.end
    assert {"safe", "alone"} <= played.here.taken
    assert not {"block", "lock"} & played.here.taken
    said = " ".join(wording.outcome_lines(tables.base, turned, played.outcomes[-1], played.here))
    assert "Off while you turned, take anew: block lock." in " ".join(said.split())
    careless = played.then(tables, Move("check", "look_at_hook"))
    assert (careless.here.end, careless.here.forgot) == ("unsafe", "block")
