"""How many clean ties in a row prove a cure."""

from __future__ import annotations

import math

CONFIDENCE = 0.95


def clean_ties_needed(rate: float, confidence: float = CONFIDENCE) -> int:
    """Clean ties in a row that would happen by luck at most 1 - confidence of the time,

    were the tie still failing at `rate` (0 < rate < 1, share of ties): the smallest n with
    (1 - rate)^n <= 1 - confidence. Same reasoning as Hanley and Lippman-Hand, JAMA 249, 1983.
    """
    if not 0 < rate < 1:
        raise ValueError(f"a failure rate lies between 0 and 1, not {rate}")
    return math.ceil(math.log1p(-confidence) / math.log1p(-rate) - 1e-9)


def assurance(rate: float, clean_ties: int) -> float:
    """How sure the cure is after so many clean ties in a row: 1 - (1 - rate)^n."""
    return float(-math.expm1(clean_ties * math.log1p(-rate)))


def bales_needed(ties: int, ties_per_bale: int) -> int:
    """Bales that hold so many ties of the knotters that failed."""
    return math.ceil(ties / ties_per_bale)
