"""What is made ready once: the engine waits until something is known, and there is one."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

from diagnose.case import Case, MadeSafe, Seen
from diagnose.inference import Conclusions
from diagnose.knowledge import Knowledge
from diagnose.session import Reasoner, diagnose


def test_a_first_question_is_chosen_before_any_engine_is_built(base: Knowledge) -> None:
    reasoner, case = Reasoner(base), Case(id="new", events=(MadeSafe(),))
    step = diagnose(reasoner, case).step
    assert step.kind == "ask"
    assert "_engine" not in vars(reasoner)
    answer = next(iter(base.signs[step.id].answers))
    diagnose(reasoner, case.with_event(Seen(sign=step.id, answers=(answer,))))
    assert "_engine" in vars(reasoner)


def test_from_nothing_the_engine_concludes_nothing(reasoner: Reasoner) -> None:
    assert reasoner.engine.conclude({}) == reasoner.conclude({}) == Conclusions()


def test_all_who_ask_at_once_get_the_same_engine(base: Knowledge) -> None:
    reasoner = Reasoner(base)
    taught = reasoner.taught({}, {}, 0)
    with ThreadPoolExecutor(4) as pool:
        engines = list(pool.map(lambda r: r.engine, [reasoner, taught, reasoner, taught]))
    assert len(set(map(id, engines))) == 1
