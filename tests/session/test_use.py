"""What a use cannot do it says; nothing is told of a case that did not happen."""

from __future__ import annotations

from diagnose.case import Case, Checked, Logged, MadeSafe, Seen
from diagnose.case.use import replaying
from diagnose.log.reason import Pattern, case_of
from diagnose.session import WORK_LIST, Reasoner, Use, diagnose

LOGGED = Case(id="log", events=(Logged(code="tie_missed"), Seen(sign="which", answers=("one",))))


def test_a_work_list_waits_for_nobody_and_opens_nothing(reasoner: Reasoner) -> None:
    assert diagnose(reasoner, LOGGED).step.kind == "safe"
    step = diagnose(reasoner, LOGGED, WORK_LIST).step
    assert step.kind in ("ask", "check")
    assert not step.opening


def test_a_replay_asks_only_what_was_answered_then(reasoner: Reasoner) -> None:
    asked, case = [], Case(id="r")
    use = replaying(frozenset({"hangs", "good_knots"}))
    for _ in range(250):
        step = diagnose(reasoner, case, use).step
        if step.kind == "ask":
            asked.append(step.id)
            answer = next(iter(reasoner.base.signs[step.id].answers))
            case = case.with_event(Seen(sign=step.id, answers=(answer,)))
        elif step.kind == "check":
            case = case.with_event(Checked(check=step.id))
        else:
            break
    assert set(asked) <= {"hangs", "good_knots"}
    assert step.kind == "call"


def test_the_same_answers_give_the_same_belief_in_every_use(reasoner: Reasoner) -> None:
    told = diagnose(reasoner, LOGGED)
    for use in (WORK_LIST, Use(asks=frozenset()), replaying(frozenset())):
        other = diagnose(reasoner, LOGGED, use)
        assert (other.posterior.branches == told.posterior.branches).all()
        assert other.suspects == told.suspects


def test_a_logs_case_holds_what_was_logged_and_nothing_else(reasoner: Reasoner) -> None:
    pattern = Pattern(("twine_sensor_dirty",), (("often", ("often",)),))
    case = case_of(pattern, reasoner.base)
    assert [type(event) for event in case.events] == [Logged, Seen]


def test_what_a_controller_found_in_its_own_circuit_is_a_finding(reasoner: Reasoner) -> None:
    """Where nobody has stood at the machine, nobody stands there afterwards."""
    code = next(c for c, body in reasoner.base.codes.items() if body.finds)
    cause = reasoner.base.codes[code].finds
    known = diagnose(reasoner, Case(id="t", events=(Logged(code=code),)), WORK_LIST)
    assert known.suspects[0].id == cause
    assert known.known.state.place == reasoner.base.start_setup
    assert (known.step.kind, known.step.id) == ("mend", cause)
    before = Case(id="t", events=(MadeSafe(),))
    assert diagnose(reasoner, before).suspects[0].id != cause
