"""How a cause stands: the same as a diagnosis says, for named bales and solved cases alike."""

from __future__ import annotations

import pytest

from diagnose.case import Case, Logged, MadeSafe, Reading, Seen
from diagnose.casebook.replay import Solved, judge
from diagnose.errors import InputError
from diagnose.knowledge.model import Bale
from diagnose.session import Reasoner, diagnose
from diagnose.session.judged import Judged, case_of, judged

CASE = Case(id="t")


def stands(cause: str, **chances: float) -> Judged:
    return Judged(CASE, cause, tuple(chances), tuple(chances.values()))


def test_a_cause_stands_where_the_diagnosis_puts_it(reasoner: Reasoner) -> None:
    base = reasoner.base
    for cause, body in base.causes.items():
        name, bale = next(iter(body.bales.items()))
        case = case_of(base, name, bale)
        found, suspects = judged(reasoner, case, cause), diagnose(reasoner, case).suspects
        assert suspects[found.rank - 1].id == cause
        assert suspects[found.rank - 1].chance == found.chance
        assert found.rivals == tuple(s.id for s in suspects if s.id != cause)


def test_odds_are_to_the_next_of_a_first_suspect_and_to_the_first_of_another() -> None:
    first = stands("a", a=0.6, b=0.3, c=0.1)
    assert (first.rank, first.rivals) == (1, ("b", "c"))
    assert (first.odds(), first.odds(2)) == (pytest.approx(2), pytest.approx(6))
    second = stands("b", a=0.6, b=0.3, c=0.1)
    assert (second.rank, second.rivals) == (2, ("a", "c"))
    assert (second.odds(), second.odds(2)) == (pytest.approx(0.5), pytest.approx(3))


def test_who_is_as_likely_as_another_stands_beside_it() -> None:
    assert stands("c", a=0.5, b=0.25, c=0.25 - 1e-15).rank == 2
    assert stands("b", a=0.5, b=0.25, c=0.25).odds(2) == pytest.approx(1)


def test_a_bale_is_a_case_of_what_was_seen_logged_and_measured(reasoner: Reasoner) -> None:
    bale = Bale(
        seen={"cycled": "yes", "which": ["one", "same_few"]},
        codes=["tie_missed"],
        readings={"needle_travel": 99},
        rank=1,
    )
    assert case_of(reasoner.base, "a bale", bale).events == (
        MadeSafe(),
        Seen(sign="cycled", answers=("yes",)),
        Seen(sign="which", answers=("one", "same_few")),
        Logged(code="tie_missed"),
        Reading(setting="needle_travel", value=99, unit="mm"),
    )


def test_a_solved_case_is_judged_as_a_bale_that_tells_the_same(reasoner: Reasoner) -> None:
    bale = Bale(seen={"hangs": "slipped_open", "good_knots": "loose"}, rank=1)
    case = case_of(reasoner.base, "b", bale)
    solved = judge(reasoner, Solved(case, "clamp_spring_weak"))
    assert solved == judged(reasoner, case, "clamp_spring_weak")
    assert solved.rank == 1


def test_what_the_rules_do_not_know_is_refused(reasoner: Reasoner) -> None:
    case = Case(id="t", events=(MadeSafe(), Seen(sign="hangs", answers=("slipped_opn",))))
    with pytest.raises(InputError, match="'slipped_opn', did you mean 'slipped_open'"):
        judged(reasoner, case, "hook_worn")
