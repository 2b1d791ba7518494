"""How many clean trials in a row prove a cure, and what such a run would be worth by luck.

A trial is what counts once: see `Cause.trial`. Trials of one fault are taken as independent.
"""

from __future__ import annotations

import math

from diagnose.knowledge.model import Cause

LUCK = 0.05
"""A run is long enough when it would come by luck in so small a share, had nothing changed."""


def clean_trials_needed(rate: float, luck: float = LUCK) -> int:
    """Clean trials in a row that would come by luck in at most `luck` of such runs,

    were it still failing at `rate` (0 < rate < 1, share of trials): the smallest n with
    (1 - rate)^n <= luck. Same reasoning as Hanley and Lippman-Hand, JAMA 249, 1983.
    """
    if not 0 < rate < 1:
        raise ValueError(f"a failure rate lies between 0 and 1, not {rate}")
    return math.ceil(math.log(luck) / math.log1p(-rate) - 1e-9)


def by_luck(rate: float, trials: int) -> float:
    """Share of runs of so many trials that are clean though nothing changed: (1 - rate)^n."""
    return math.exp(trials * math.log1p(-rate))


def trials_a_bale(cause: Cause, knotters: int | None) -> int:
    """Trials in one bale: every strand where strands fail independently, else one.

    Where the machine's knotters are not known, one is counted: too many bales, never too few.
    """
    return (knotters or 1) if cause.trial == "each_strand" else 1


def bales_needed(trials: int, a_bale: int) -> int:
    """Bales that hold so many trials."""
    return math.ceil(trials / a_bale)


def luck_text(share: float) -> str:
    """`5 of 100`; what is rarer is called so."""
    return f"{share * 100:.0f} of 100" if share >= 0.01 else "fewer than 1 of 100"
