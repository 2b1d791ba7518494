"""What a frequency word means as a share of answers. Shared by the engine and the tables."""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.knowledge.item import Word
from diagnose.knowledge.model import Knowledge, Shows


def answer_shares(base: Knowledge, sign: str, rule: Shows) -> dict[str, float]:
    """Shares of all answers of a sign under one rule; they add up to 1.

    Answers the rule names have their word's share; the others divide what is left evenly,
    and each has at least the share of `never`, so that no answer is ever impossible.
    """
    return _shares(base, sign, rule.answers)


def usual_shares(base: Knowledge, sign: str) -> dict[str, float]:
    """Shares of all answers of a sign where no rule speaks of it; they add up to 1.

    The sign's own `usual` words, read as a rule's; without them all answers are equally likely.
    """
    return _shares(base, sign, base.signs[sign].usual)


def _shares(base: Knowledge, sign: str, words: Mapping[str, Word]) -> dict[str, float]:
    answers = base.signs[sign].answers
    named = {answer: base.words[word] for answer, word in words.items()}
    others = [answer for answer in answers if answer not in named]
    least = base.words[base.roles.least]
    left = max((1 - sum(named.values())) / len(others), least) if others else 0.0
    return _normalised({answer: named.get(answer, left) for answer in answers})


def mechanism_shares(base: Knowledge, cause: str) -> dict[str, float]:
    """P(mechanism | cause): the words of `leads` as weights, adding up to 1."""
    return _normalised({m: base.words[word] for m, word in base.causes[cause].leads.items()})


def prior_weights(base: Knowledge) -> dict[str, float]:
    """P(cause) before anything is known: the words of `common` as weights, adding up to 1."""
    return _normalised({name: base.words[c.common] for name, c in base.causes.items()})


def _normalised(weights: Mapping[str, float]) -> dict[str, float]:
    total = sum(weights.values())
    return {name: weight / total for name, weight in weights.items()}
