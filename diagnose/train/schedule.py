"""When a mechanism, cause or setting comes back. The fsrs package decides; ratings come from here.

FSRS models memory of an item by stability and difficulty and brings it back as the chance of
recall falls to 0.9. Its random spread of the intervals is off, so that the same practice gives
the same days.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Literal

from fsrs import Card, Rating, Scheduler, State

from diagnose.train.store import Review

SCHEDULER = Scheduler(enable_fuzzing=False)
EASY_SCORE, GOOD_SCORE = 90, 50
"""A case found with at least this score counts as easy, or as good; below it as hard. Judgement."""

ItemKind = Literal["cause", "mechanism", "setting"]


def item(kind: ItemKind, name: str) -> str:
    """How the schedule names a thing to learn."""
    return f"{kind}:{name}"


def rating_of_case(end: str | None, wrong: int, hints: int, score: int) -> Rating:
    """How well a case was known: unsafe, given up or a part changed for nothing is not at all."""
    if end != "found" or wrong:
        return Rating.Again
    if hints or score < GOOD_SCORE:
        return Rating.Hard
    return Rating.Easy if score >= EASY_SCORE else Rating.Good


def rating_of_answer(right: bool) -> Rating:
    """Of a look or of a setting."""
    return Rating.Good if right else Rating.Again


def reviewed(cards: Mapping[str, Card], name: str, rating: Rating, now: datetime) -> Review:
    """The item's card after a review at `now` (UTC)."""
    card = cards.get(name) or Card(card_id=zlib.crc32(name.encode()), due=now)
    now = max(now, card.last_review or now)  # a clock set back makes no review before the last
    after, log = SCHEDULER.review_card(card, rating, now)
    return Review(name, after, log)


def due(cards: Mapping[str, Card], now: datetime) -> list[str]:
    """Items whose time has come, the longest overdue first."""
    waiting = (name for name, card in cards.items() if card.due <= now)
    return sorted(waiting, key=lambda name: cards[name].due)


def recall(cards: Mapping[str, Card], name: str, now: datetime) -> float:
    """Chance that the item is remembered now; 0 for one never met."""
    return SCHEDULER.get_card_retrievability(cards[name], now) if name in cards else 0.0


def sits(cards: Mapping[str, Card], names: Iterable[str]) -> bool:
    """Whether all of them have been learnt: met, and past the first repeats."""
    return all(name in cards and cards[name].state == State.Review for name in names)
