"""The drill in figures: simulated learners ranked, scores over easy and hard cases, the schedule.

Run as `python -m tests.bench.drill`; `--cases 100 --judged 40` is quicker and rougher.

Ranking. All learners play the same cases, dealt as often as the field has them. Nothing that
needs no more knowledge can beat the exact optimum, which the planner comes near; chance without
minutes goes astray by the price of checks, a fixed order by the evidence too, and at random by all.

Fairness. A learner who always plays alike should score alike over easy and hard causes. A cause
is as hard as the planner's mean minutes for it. The plain ratio of minutes, planner to learner,
is measured beside the score.

Schedule. A learner with a memory like FSRS's own model, for whom some mechanisms are hard, does
ten looks a day for sixty days.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from random import Random

import numpy as np
import numpy.typing as npt
from fsrs import Card

from diagnose.knowledge import load_rules
from diagnose.session import Reasoner
from diagnose.train.course import Course, make_course, next_item
from diagnose.train.deal import Deal, deal
from diagnose.train.judge import Judge, score
from diagnose.train.play import Played
from diagnose.train.schedule import item, rating_of_answer, recall, reviewed
from tests.bench.learners import LEARNERS, half_trained

RESAMPLES = 2000
DAYS, A_DAY = 60, 10
HARD_MISS, EASY_MISS = 0.5, 0.05


def ranking(judge: Judge, cases: Sequence[Deal]) -> dict[str, list[Played]]:
    """Every learner through every case, and how they rank."""
    played: dict[str, list[Played]] = {}
    for name, learner in LEARNERS.items():
        began = time.perf_counter()
        played[name] = [learner(judge, case) for case in cases]
        print(f"{name}, seconds of computing: {time.perf_counter() - began:.0f}", flush=True)
    minutes = {name: np.array([one.here.minutes for one in many]) for name, many in played.items()}
    random = np.random.default_rng(1)
    sample = random.integers(0, len(cases), (RESAMPLES, len(cases)))
    for name, mine in minutes.items():
        low, high = np.percentile(mine[sample].mean(axis=1), [2.5, 97.5])
        print(f"{name}, mean minutes to the cause: {mine.mean():.1f} ({low:.1f} to {high:.1f})")
        ratio = mine.mean() / minutes["planner"].mean()
        print(f"{name}, minutes against the planner's: {ratio:.2f}")
        print(f"{name}, median minutes: {np.median(mine):.1f}")
    names = list(minutes)
    for worse, better in pairwise(names):
        gain = (minutes[worse] - minutes[better])[sample].mean(axis=1)
        low, high = np.percentile(gain, [2.5, 97.5])
        print(f"{better} before {worse} by minutes: {low:.1f} to {high:.1f} (95 %, paired)")
    means = [float(minutes[name].mean()) for name in names]
    print(f"ranking as theory says: {'yes' if means == sorted(means, reverse=True) else 'NO'}")
    return played


def fairness(judge: Judge, played: dict[str, list[Played]], judged: int) -> None:
    """Mean score, and mean plain ratio, over causes that are easy, middling and hard."""
    by_cause: dict[str, list[float]] = defaultdict(list)
    for one in played["planner"]:
        by_cause[one.case.faults[0].cause].append(one.here.minutes)
    hard = {cause: float(np.mean(minutes)) for cause, minutes in by_cause.items()}
    difficulty = np.array([hard[one.case.faults[0].cause] for one in played["planner"]])
    third = np.searchsorted(np.quantile(difficulty, [1 / 3, 2 / 3]), difficulty[:judged])
    half = [half_trained(judge, one.case) for one in played["planner"][:judged]]
    for name, many in {**played, "half trained": half}.items():
        some = many[: judged if name != "random" else judged // 4]
        where = third[: len(some)]
        scores = np.array([score(judge.judged(one)) for one in some])
        best = [one.here.minutes for one in played["planner"][: len(some)]]
        ratios = np.array([100 * b / o.here.minutes for b, o in zip(best, some, strict=True)])
        for label, values in (("score", scores), ("plain ratio", ratios)):
            means = [values[where == k].mean() for k in range(3)]
            told = ", ".join(f"{mean:.0f}" for mean in means)
            print(f"{name}, {label} of easy, middling, hard: {told}")
            print(f"{name}, {label}, most apart: {max(means) - min(means):.0f}")
            by_luck = _apart_by_luck(values, where)
            print(f"{name}, {label}, apart by luck alone, mean: {by_luck:.0f}", flush=True)


def _apart_by_luck(values: npt.NDArray[np.float64], where: npt.NDArray[np.intp]) -> float:
    """How far apart the three means come when cases are dealt to the thirds at random."""
    random = np.random.default_rng(1)
    apart = []
    for _ in range(RESAMPLES // 4):
        shuffled = random.permutation(where)
        means = [values[shuffled == k].mean() for k in range(3)]
        apart.append(max(means) - min(means))
    return float(np.mean(apart))


def schedule(course: Course) -> None:
    """Whether what is missed comes back, and sooner and oftener than what is known."""
    random, now = Random(7), datetime(2026, 3, 1, 7, tzinfo=UTC)
    hard = set(course.mechanisms[::3])
    cards: dict[str, Card] = {}
    met: Counter[str] = Counter()
    gaps: dict[bool, list[float]] = {True: [], False: []}
    last: dict[str, tuple[bool, datetime]] = {}
    before: str | None = None
    for day in range(DAYS):
        for turn in range(A_DAY):
            at = now + timedelta(days=day, minutes=3 * turn)
            name = next_item(course, "mechanism", cards, at, before).name
            if name in last:
                right, seen = last[name]
                gaps[right].append((at - seen).total_seconds() / 86400)
            key = item("mechanism", name)
            miss = HARD_MISS if name in hard else EASY_MISS
            if key in cards:
                miss = 1 - recall(cards, key, at) * (1 - miss)
            known = random.random() >= miss
            cards[key] = reviewed(cards, key, rating_of_answer(known), at).card
            last[name], before = (known, at), name
            met[name] += 1
    hard_met = np.mean([met[name] for name in hard])
    easy_met = np.mean([met[name] for name in course.mechanisms if name not in hard])
    print(f"looks at each hard mechanism in {DAYS} days: {hard_met:.1f}")
    print(f"looks at each easy mechanism in {DAYS} days: {easy_met:.1f}")
    print(f"hard against easy: {hard_met / easy_met:.2f}")
    print(f"days until a missed one came back, median: {np.median(gaps[False]):.3f}")
    print(f"days until a known one came back, median: {np.median(gaps[True]):.3f}")
    print(f"missed ones back within a day: {np.mean(np.array(gaps[False]) <= 1.01):.3f}")
    end = now + timedelta(days=DAYS)
    lost = [n for n, (right, seen) in last.items() if not right and end - seen > timedelta(days=1)]
    print(f"missed ones that never came back: {len(lost)}")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    options.add_argument("--cases", type=int, default=1000)
    options.add_argument("--judged", type=int, default=200)
    chosen = options.parse_args()
    reasoner = Reasoner(load_rules())
    judge = Judge(reasoner)
    print(f"rules: {reasoner.base.base.version} ({reasoner.base.digest})")
    schedule(make_course(reasoner.tables))
    cases = [deal(reasoner.tables, str(n), temper=1.0) for n in range(1, chosen.cases + 1)]
    played = ranking(judge, cases)
    fairness(judge, played, chosen.judged)


if __name__ == "__main__":
    main()
