"""What a finished practice means for the schedule and the record."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from random import Random

from fsrs import Card, Rating

from diagnose.inference.tables import Tables
from diagnose.train.course import Course, Next, next_item
from diagnose.train.deal import Deal, deals_with
from diagnose.train.judge import Judgement, score
from diagnose.train.look import Look
from diagnose.train.play import Played
from diagnose.train.schedule import item, rating_of_answer, rating_of_case, reviewed
from diagnose.train.setting import Task, Verdict
from diagnose.train.store import Practice, Review


def next_case(
    tables: Tables,
    course: Course,
    cards: Mapping[str, Card],
    now: datetime,
    random: Random,
    last: str | None = None,
) -> tuple[Deal, Next]:
    """The case to practise now, its first fault the cause whose turn it is."""
    chosen = next_item(course, "cause", cards, now, last)
    faults = 2 if chosen.stage == "two faults" else 1
    mechanism = course.main[chosen.name] if chosen.stage == "plain" else None
    deals = deals_with(tables, random, cause=chosen.name, mechanism=mechanism, faults=faults)
    return next(deals), chosen


def of_case(
    played: Played,
    judgements: tuple[Judgement, ...],
    planner: Played,
    cards: Mapping[str, Card],
    now: datetime,
    rules: str,
) -> tuple[Practice, list[Review]]:
    """A case that has ended: the record, and a review of each cause and mechanism it reached."""
    here, faults = played.here, played.case.faults
    practice = Practice(
        at=now,
        kind="case",
        item=faults[min(here.stage, len(faults) - 1)].cause,
        code=played.case.code,
        right=here.end == "found",
        end=here.end or "",
        score=score(judgements) if here.end != "unsafe" else 0,
        minutes=here.minutes,
        planner_minutes=planner.here.minutes,
        mechanism=faults[min(here.stage, len(faults) - 1)].mechanism,
        rules=rules,
    )
    reviews: dict[str, Review] = {}
    for stage, fault in enumerate(faults[: here.stage + 1]):
        rating = _rating(played, judgements, stage)
        for name in (item("cause", fault.cause), item("mechanism", fault.mechanism)):
            reviews[name] = reviewed(cards, name, rating, now)
    return practice, list(reviews.values())


def _rating(played: Played, judgements: tuple[Judgement, ...], stage: int) -> Rating:
    """A fault mended on the way to an unhappy end counts as found."""
    ended = played.here.end if stage == played.here.stage else "found"
    wrong = sum(outcome.right is False for outcome in played.outcomes)
    hints = sum(move.kind == "hint" for move in played.moves)
    return rating_of_case(ended, wrong, hints, score(judgements))


def of_look(
    look: Look, chosen: str, cards: Mapping[str, Card], now: datetime, rules: str
) -> tuple[Practice, list[Review]]:
    """A look that was answered."""
    right = chosen == look.mechanism
    practice = Practice(
        now, "look", look.mechanism, look.case.code, right, mechanism=look.mechanism, rules=rules
    )
    name = item("mechanism", look.mechanism)
    return practice, [reviewed(cards, name, rating_of_answer(right), now)]


def of_set(
    task: Task, verdict: Verdict, cards: Mapping[str, Card], now: datetime, rules: str
) -> tuple[Practice, list[Review]]:
    """A setting that was answered."""
    code = f"{task.reading.value:g} {task.reading.unit}"
    practice = Practice(now, "set", task.name, code, verdict.right, rules=rules)
    rating = rating_of_answer(verdict.right)
    return practice, [reviewed(cards, item("setting", task.name), rating, now)]
