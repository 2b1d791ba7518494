"""The question session, driven by scripted lines."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from diagnose.bale.dialogue import Dialogue
from diagnose.case import (
    Case,
    Checked,
    Machine,
    MadeSafe,
    Mended,
    Noted,
    NotKnown,
    NotNow,
    Reading,
    Seen,
)
from diagnose.errors import InputError, StoreError
from diagnose.knowledge import Knowledge
from diagnose.knowledge.acts import cautions_of, runs
from diagnose.machine.profile import MachineFile
from diagnose.session import Diagnosis, Reasoner, diagnose
from tests.small_base import SOMETHING_ELSE
from tests.technician import DEMO, clock, walk

OPENED = ["y", "3", "1", "1"]  # safe; knot in one end only; knotters turned; always the same one


class Script:
    """Types the lines it was given, then leaves."""

    def __init__(self, lines: list[str]) -> None:
        self.lines, self.screen = list(lines), ""

    def say(self, lines: list[str]) -> None:
        assert all(len(line) <= 80 for line in lines), [x for x in lines if len(x) > 80]
        self.screen += "\n".join(lines) + "\n"

    def ask(self, prompt: str) -> str:
        typed = self.lines.pop(0) if self.lines else "s"
        self.screen += f"{prompt}{typed}\n"
        return typed


def run(
    reasoner: Reasoner, lines: list[str], save: Callable[[Case], None] = lambda _: None
) -> tuple[Dialogue, Script, Diagnosis]:
    script = Script(lines)
    start = clock(datetime(2026, 7, 21, 14, tzinfo=UTC))
    dialogue = Dialogue(reasoner, Case(id="test"), script, save, now=start)
    return dialogue, script, dialogue.run()


def test_nothing_at_the_knotters_is_shown_before_the_machine_is_safe(reasoner: Reasoner) -> None:
    _, script, _ = run(reasoner, ["no", "", "3"])
    assert "make the machine safe" in script.screen
    assert "type y when the machine is safe" in script.screen
    assert "Question" not in script.screen
    assert "Check" not in script.screen


def test_the_two_event_question_comes_right_after_what_hangs_from_the_bale(
    reasoner: Reasoner,
) -> None:
    _, script, _ = run(reasoner, OPENED)
    order = [script.screen.index(text) for text in ("What hangs", "Did the knotters turn")]
    assert order == sorted(order)


def test_an_answer_may_be_a_number_an_id_or_words_of_it(reasoner: Reasoner) -> None:
    cases = [
        run(reasoner, ["y", typed])[0].case.events[1]
        for typed in ("6", "slipped_open", "came open")
    ]
    assert {event.answers for event in cases if isinstance(event, Seen)} == {("slipped_open",)}


def test_an_unknown_answer_is_told_and_asked_again(reasoner: Reasoner) -> None:
    dialogue, script, _ = run(reasoner, ["y", "99", "purple", "6"])
    assert "there is no 99 here; type 1 to 8" in script.screen
    assert "'purple' is not among the answers" in script.screen
    assert len(dialogue.case.events) == 2


def test_several_knotters_can_look_different_and_which_follows(reasoner: Reasoner) -> None:
    dialogue, _, diagnosis = run(reasoner, ["y", "2=6 5=4"])
    seen = [e for e in dialogue.case.events if isinstance(e, Seen)]
    assert [(e.knotter, e.answers) for e in seen] == [
        (2, ("slipped_open",)),
        (5, ("knot_one_loose",)),
    ]
    assert diagnosis.known.evidence.answers["which"] == ("same_few", "wandering")
    assert [tie.knotter for tie in diagnosis.known.ties] == [2, 5]


def test_back_takes_the_last_answer_away_and_nothing_after_it_survives(
    reasoner: Reasoner,
) -> None:
    straight = run(reasoner, [*OPENED])[2]
    there_and_back = run(reasoner, [*OPENED, "2", "b"])[2]
    wrong_first = run(reasoner, ["y", "6", "b", *OPENED[1:]])[2]
    for other in (there_and_back, wrong_first):
        assert [(s.id, s.chance) for s in other.suspects] == [
            (s.id, s.chance) for s in straight.suspects
        ]
        assert other.step == straight.step


def test_dont_know_and_not_now_are_no_evidence(reasoner: Reasoner) -> None:
    before = run(reasoner, OPENED[:-1])[2]
    dialogue, _, after = run(reasoner, [*OPENED[:-1], "d", "l"])
    assert [(s.id, s.chance) for s in before.suspects] == [(s.id, s.chance) for s in after.suspects]
    assert isinstance(dialogue.case.events[-2], NotKnown)
    assert isinstance(dialogue.case.events[-1], NotNow)
    assert before.step.id not in (after.step.id, dialogue.case.events[-1])


def test_every_answer_is_saved_before_the_next_question(reasoner: Reasoner) -> None:
    saved: list[int] = []
    run(reasoner, OPENED, lambda case: saved.append(len(case.events)))
    assert saved == [1, 2, 3, 4]


def test_a_full_disk_loses_nothing_and_is_told_once(reasoner: Reasoner) -> None:
    def full(_: Case) -> None:
        raise StoreError("bale.json: cannot be written (No space left on device)")

    dialogue, script, _ = run(reasoner, OPENED, full)
    assert script.screen.count("NOT SAVED") == 1
    assert dialogue.unsaved
    assert len(dialogue.case.events) == 4


def test_saving_again_after_a_full_disk_is_told(reasoner: Reasoner) -> None:
    tries = iter([StoreError("full"), None, None, None])

    def sometimes(_: Case) -> None:
        fault = next(tries)
        if fault:
            raise fault

    dialogue, script, _ = run(reasoner, OPENED, sometimes)
    assert "Saved again." in script.screen
    assert not dialogue.unsaved


def test_why_names_reasons_with_their_rules_and_defines_the_words(reasoner: Reasoner) -> None:
    _, script, diagnosis = run(reasoner, [*OPENED, "?"])
    assert f"[{diagnosis.suspects[0].because[0].source}]" in script.screen
    assert "at least nine in ten bales like this" in script.screen
    assert "no confirmed cases are counted in" in script.screen


def test_why_not_tells_what_speaks_against_a_cause(reasoner: Reasoner) -> None:
    _, script, _ = run(reasoner, ["y", "3", "1", "1", "! trip rod worn"])
    told = script.screen.partition("! trip rod worn")[2]
    assert "trip rod worn: very unlikely" in told
    assert "against:" in told


def test_something_else_is_always_named(base: Knowledge, reasoner: Reasoner) -> None:
    _, script, diagnosis = run(reasoner, OPENED)
    assert base.causes[SOMETHING_ELSE].name.partition(",")[0] in script.screen
    assert SOMETHING_ELSE in [s.id for s in diagnosis.suspects]


def test_another_step_can_be_chosen(reasoner: Reasoner) -> None:
    best = run(reasoner, OPENED)[2].step
    _, script, _ = run(reasoner, [*OPENED, "o", "1"])
    listed = re.search(r" 1 +\+\d+ min +(.+)", script.screen)
    assert listed
    after = script.screen.partition("which (Enter: none)> 1")[2]
    assert listed[1].split()[0] in after
    assert best.others


def test_a_remark_is_kept(reasoner: Reasoner) -> None:
    dialogue, _, _ = run(reasoner, ["y", "n driver says it was damp", "3"])
    assert Noted(text="driver says it was damp").text in [
        e.text for e in dialogue.case.events if isinstance(e, Noted)
    ]


def test_contradictory_answers_are_named_and_the_search_goes_on(
    base: Knowledge, reasoner: Reasoner
) -> None:
    clashing = Case(id="clash")
    for name, rule in base.means.items():
        signs = {**rule.if_}
        ((sign, derived),) = list(rule.then.items())[:1]
        if sign not in base.signs or any(s not in base.signs for s in signs):
            continue
        other = next(a for a in base.signs[sign].answers if a != derived)
        for s, a in signs.items():
            given = (a,) if isinstance(a, str) else (a[0],)
            clashing = clashing.with_event(Seen(sign=s, answers=given))
        clashing = clashing.with_event(Seen(sign=sign, answers=(other,)))
        diagnosis = diagnose(reasoner, clashing)
        assert name in [c.rule for c in diagnosis.known.contradictions]
        assert diagnosis.known.evidence.answers[sign] == (other,)
        return
    pytest.fail("no rule derives a sign from signs alone")


@pytest.mark.parametrize("truth", sorted(DEMO.glob("*.truth.yaml")), ids=lambda p: p.name[:1])
def test_the_demos_bales_are_walked_to_their_cure(truth: object, base: Knowledge) -> None:
    technician, dialogue, diagnosis = walk(truth, base)  # type: ignore[arg-type]
    assert diagnosis.step.kind == "cured"
    assert dialogue.case.confirmed == technician.truth["faults"][-1] or technician.truth["faults"]
    assert not technician.faults
    assert all(len(line) <= 80 for line in technician.screen)


def test_a_failed_proof_clears_the_cause_and_the_search_goes_on(base: Knowledge) -> None:
    _, dialogue, diagnosis = walk(DEMO / "3_two_faults.truth.yaml", base)
    failed = [e for e in dialogue.case.events if getattr(e, "failed", False)]
    assert len(failed) == 1
    assert failed[0].cause in dict(diagnosis.cleared)  # type: ignore[union-attr]
    assert failed[0].cause not in [s.id for s in diagnosis.suspects]  # type: ignore[union-attr]


def at_proof(reasoner: Reasoner, more: list[str]) -> tuple[Dialogue, Script, Diagnosis]:
    """A case whose clamp spring was found and set, then what is typed at its proof."""
    case = Case(id="test", events=(
        MadeSafe(), Seen(sign="hangs", answers=("slipped_open",)),
        Seen(sign="cycled", answers=("yes",)), Seen(sign="which", answers=("one",)),
        Checked(check="measure_clamp_spring", found="clamp_spring_weak"),
        Mended(cause="clamp_spring_weak"), Seen(sign="often", answers=("now_and_then",)),
    ))  # fmt: skip
    script = Script(more)
    start = clock(datetime(2026, 7, 21, 14, tzinfo=UTC))
    dialogue = Dialogue(reasoner, case, script, lambda _: None, now=start)
    return dialogue, script, dialogue.run()


def test_a_few_clean_bales_are_kept_but_are_no_proof(reasoner: Reasoner) -> None:
    dialogue, script, diagnosis = at_proof(reasoner, ["12"])
    assert "not proved yet: 12 of 59" in script.screen
    assert diagnosis.step.kind == "prove"
    assert dialogue.case.confirmed is None
    assert [e.text for e in dialogue.case.events if isinstance(e, Noted)] == [
        "12 clean bales in a row so far"
    ]


def test_a_short_proof_counts_only_when_it_is_accepted_in_words(reasoner: Reasoner) -> None:
    _, script, diagnosis = at_proof(reasoner, ["12", "12 ok"])
    assert diagnosis.step.kind == "cured"
    assert "12 clean bales since" in script.screen
    assert "come by luck in 54 of 100" in " ".join(script.screen.split())


def test_how_often_it_failed_is_asked_before_the_count_where_nobody_has_said(
    reasoner: Reasoner,
) -> None:
    dialogue, script, diagnosis = at_proof(reasoner, ["r", "5", "d"])
    assert diagnosis.step.kind == "prove"
    dialogue.case = dialogue.case.model_copy(
        update={"events": [e for e in dialogue.case.events if getattr(e, "sign", "") != "often"]}
    )
    dialogue.console = Script(["4"])
    asked = diagnose(reasoner, dialogue.case).step
    assert (asked.kind, asked.id, asked.counts) == ("ask", "often", True)
    proof = dialogue.run().step
    assert (proof.kind, proof.bales) == ("prove", 2)
    assert "more clean bales, the rarer it failed" in " ".join(dialogue.console.screen.split())
    assert "59 clean bales in a row" in " ".join(script.screen.split())


def test_after_a_failed_proof_the_machine_is_made_safe_again_first(reasoner: Reasoner) -> None:
    _, script, diagnosis = at_proof(reasoner, ["3 f"])
    assert diagnosis.step.kind == "safe"
    assert script.screen.rstrip().endswith("> s")
    assert "make the machine safe" in script.screen.partition("3 f")[2]


def test_a_reading_that_looks_like_a_slip_is_asked_back(reasoner: Reasoner) -> None:
    case = Case(id="test", events=(
        MadeSafe(), Seen(sign="hangs", answers=("slipped_open",)),
        Seen(sign="cycled", answers=("yes",)), Seen(sign="which", answers=("one",)),
    ))  # fmt: skip

    def sitting(lines: list[str]) -> tuple[Script, Dialogue]:
        script = Script(lines)
        start = clock(datetime(2026, 7, 21, 14, tzinfo=UTC))
        dialogue = Dialogue(reasoner, case, script, lambda _: None, now=start)
        dialogue.wanted = "measure_clamp_spring"
        dialogue.run()
        return script, dialogue

    doubted, dialogue = sitting(["330 mm"])
    assert "330 mm is far out; is 33 mm meant" in " ".join(doubted.screen.split())
    assert len(dialogue.case.events) == 4
    _, dialogue = sitting(["330 mm!"])
    assert dialogue.case.events[-1].value == 330  # type: ignore[union-attr]


def test_a_long_wrong_answer_is_said_back_in_short(reasoner: Reasoner) -> None:
    _, script, _ = run(reasoner, ["y", "x" * 300])
    assert "x" * 40 + "..." in script.screen
    assert "x" * 41 not in script.screen.replace("> " + "x" * 300, "")


def test_an_hour_of_checks_that_find_nothing_makes_calling_a_fair_choice(
    base: Knowledge, reasoner: Reasoner
) -> None:
    done = tuple(Checked(check=name) for name in base.checks)[:25]
    script = Script(["s"])
    seen = (("hangs", "slipped_open"), ("cycled", "yes"), ("which", "one"))
    answers = (Seen(sign=sign, answers=(answer,)) for sign, answer in seen)
    events = (MadeSafe(), *answers, *done, MadeSafe())  # one of them lets the machine run
    case = Case(id="test", events=events)
    Dialogue(reasoner, case, script, lambda _: None).run()
    assert "To call the workshop now is a fair choice" in " ".join(script.screen.split())


def test_a_knotter_the_machine_does_not_have_is_refused(reasoner: Reasoner) -> None:
    case = Case(id="test", machine=Machine(knotters=6), events=(
        MadeSafe(), Seen(sign="hangs", answers=("slipped_open",), knotter=9)))  # fmt: skip
    with pytest.raises(InputError, match="knotter 9 on a machine of 6"):
        diagnose(reasoner, case)


def test_a_slip_at_the_prompt_is_refused_before_it_is_kept(reasoner: Reasoner) -> None:
    saved: list[Case] = []
    script = Script(["y", "7=5", "0=5", "2=6 7=5", "3=5"])
    case = Case(id="test", machine=Machine(knotters=6))
    start = clock(datetime(2026, 7, 21, 14, tzinfo=UTC))
    Dialogue(reasoner, case, script, saved.append, now=start).run()
    assert script.screen.count("knotter 7 on a machine of 6") == 2
    assert "event" not in script.screen
    seen = [e.knotter for e in saved[-1].events if isinstance(e, Seen)]
    assert seen == [3]


def test_a_single_letter_is_never_an_answer(reasoner: Reasoner) -> None:
    dialogue, script, _ = run(reasoner, [*OPENED[:3], "n", "t"])
    assert "n TEXT keeps a remark" in script.screen
    assert "'t' is too short" in script.screen
    assert len(dialogue.case.events) == 3


def test_what_was_set_carries_the_cautions_of_what_is_gone_through_again(
    base: Knowledge, reasoner: Reasoner
) -> None:
    for check, body in base.checks.items():
        found = Checked(check=check, found=next(iter(body.confirms)))
        case = Case(id="test", events=(MadeSafe(), NotKnown(sign="hangs"),
                    NotKnown(sign="cycled"), NotKnown(sign="which"), found))  # fmt: skip
        if runs(base, check):
            assert diagnose(reasoner, case).step.kind == "safe"
            case = case.with_event(MadeSafe())
        step = diagnose(reasoner, case).step
        assert step.kind == "mend"
        for again in base.causes[step.id].again:
            if again in base.checks:
                assert set(cautions_of(base, again)) <= set(step.cautions)


def test_a_check_is_put_again_once_at_most(reasoner: Reasoner) -> None:
    events = (MadeSafe(), NotKnown(sign="hangs"), NotKnown(sign="cycled"), NotKnown(sign="which"))
    case = Case(id="test", events=events)
    for _ in range(250):
        step = diagnose(reasoner, case).step
        if step.kind == "call":
            break
        did = {"ask": NotKnown(sign=step.id), "safe": MadeSafe()}
        case = case.with_event(did.get(step.kind, Checked(check=step.id)))
    assert step.kind == "call"
    done = [e.check for e in case.events if isinstance(e, Checked)]
    assert max(done.count(check) for check in done) <= 2


def test_a_clock_set_back_makes_no_negative_minutes(reasoner: Reasoner) -> None:
    hours = iter([14, 14, 9, 9, 9, 3, 3, 3, 3, 3, 3, 3])
    script = Script(["y", "3", "1", "1"])
    dialogue = Dialogue(
        reasoner, Case(id="test"), script, lambda _: None,
        now=lambda: datetime(2026, 10, 25, next(hours), tzinfo=UTC),
    )  # fmt: skip
    dialogue.run()
    assert len(dialogue.case.events) == 4
    assert all(event.minutes is not None and event.minutes >= 0 for event in dialogue.case.events)
    assert Case.model_validate_json(dialogue.case.model_dump_json()) == dialogue.case


def test_steps_are_numbered_one_by_one_whatever_a_line_told(reasoner: Reasoner) -> None:
    _, script, _ = run(reasoner, ["y", "2=6 5=1", "d", "l", "d"])
    numbers = [
        int(n) for n in re.findall(r"^(?:Question|Check) (\d+)", script.screen, re.MULTILINE)
    ]
    assert numbers == [1, 2, 3, 4, 5]


def test_a_figure_set_that_is_still_out_is_told_and_kept(reasoner: Reasoner) -> None:
    body = reasoner.base.settings["hook_clamp_spring"]
    low, high = body.band
    case = Case(id="test", events=(
        MadeSafe(), Seen(sign="hangs", answers=("slipped_open",)),
        Seen(sign="cycled", answers=("yes",)), Seen(sign="which", answers=("one",)),
        Reading(setting="hook_clamp_spring", value=high + 2, unit="mm"),
    ))  # fmt: skip

    def sitting(typed: str) -> tuple[str, Dialogue]:
        script = Script([typed])
        start = clock(datetime(2026, 7, 21, 14, tzinfo=UTC))
        dialogue = Dialogue(reasoner, case, script, lambda _: None, now=start)
        dialogue.run()
        return " ".join(script.screen.split()), dialogue

    screen, dialogue = sitting(f"{low - 2:g} mm")
    assert f"{low - 2:.1f} mm is still below {low:.1f} mm to {high:.1f} mm. Kept as set." in screen
    assert dialogue.case.events[-1].after == low - 2  # type: ignore[union-attr]
    assert "is still above" in sitting(f"{high + 1.5:g} mm")[0]
    assert "is still" not in sitting(f"{(low + high) / 2:g} mm")[0]


def test_which_knotter_is_number_one_is_said_once_and_as_the_machine_has_it(
    reasoner: Reasoner,
) -> None:
    _, script, _ = run(reasoner, ["y", "2=6 5=4", "1"])
    told = " ".join(script.screen.split())
    assert told.count("Knotter 1 is the left one, seen from the seat") == 1
    right = MachineFile(name="Trial baler", knotters=6, knotter_one="right")
    other = Script(["y"])
    Dialogue(reasoner, Case(id="t"), other, lambda _: None, machine=right).run()
    assert "Knotter 1 is the right one on this machine" in " ".join(other.screen.split())
