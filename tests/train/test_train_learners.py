"""Learners of known skill: the drill must rank them, and call none of them by luck."""

from __future__ import annotations

import pytest

from diagnose.session import Reasoner
from diagnose.train.deal import Deal, deal
from diagnose.train.judge import Judge, score
from tests.bench.learners import LEARNERS, half_trained

CASES = 40


@pytest.fixture(scope="module")
def cases(reasoner: Reasoner) -> list[Deal]:
    return [deal(reasoner.tables, str(n), temper=1.0) for n in range(1, CASES + 1)]


def test_chance_and_minutes_beat_chance_alone_and_anything_beats_random(
    judge: Judge, cases: list[Deal]
) -> None:
    """P over C, Kalagnanam and Henrion, UAI 1988: neither chance nor an order alone is best."""
    mean = {
        name: sum(learner(judge, case).here.minutes for case in cases) / CASES
        for name, learner in LEARNERS.items()
    }
    assert mean["planner"] < mean["p-only"] < mean["random"]
    assert mean["planner"] < mean["chart follower"] < mean["random"]


def test_every_learner_is_safe_and_ends_with_the_true_cause(
    judge: Judge, cases: list[Deal]
) -> None:
    for learner in LEARNERS.values():
        for case in cases[:15]:
            played = learner(judge, case)
            assert played.here.end == "found"
            assert played.moves[-1].id == case.faults[0].cause


def test_who_is_half_trained_scores_more_than_chance_alone_and_less_than_the_planner(
    judge: Judge, cases: list[Deal]
) -> None:
    few = cases[:6]
    chance = sum(score(judge.judged(LEARNERS["p-only"](judge, case))) for case in few)
    half = sum(score(judge.judged(half_trained(judge, case))) for case in few)
    assert chance < half < 100 * len(few)
