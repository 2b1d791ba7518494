"""Which knotters: does a fault fall evenly on all of them, and if not, on which?

The rule: when most bad bales have it at all knotters at once, `all`. Else every knotter's
count is tested for being above an even share of what is left (binomial, exact, Holm over the
knotters), the worst is set apart, and the rest tested again: one set apart is `one`, up to
half of them `same_few`. When none is, enough misses over enough knotters say `wandering`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.knowledge import roles
from diagnose.log.ordering import Ints
from diagnose.log.rates import Floats, holm, tail

ALPHA = 0.01
"""Chance of calling an evenly falling fault uneven."""
AT_ONCE = 0.5
"""Share of bad bales that must have it at all knotters (but one, from four on) for `all`."""
ENOUGH_TO_WANDER = 8
"""Bad ties, on at least three knotters, from which an even fall means something. Judgement."""
EXACT_UP_TO = 40
DRAWS = 4_000


@dataclass(frozen=True)
class Which:
    """Answer of the sign `which` (None: the log does not tell), its knotters and strength."""

    answer: str | None
    knotters: tuple[int, ...]
    p_even: float
    """p-value of the test that all knotters fail equally often."""
    p_hot: tuple[float, ...] = ()
    """Holm-adjusted p-value of each knotter in `knotters`."""


def which_knotters(position: Ints, knotter: Ints, knotters: int, role: roles.Which) -> Which:
    """From the bad ties' bales and knotters (1 to `knotters`; 0 is not told)."""
    told = (knotter >= 1) & (knotter <= knotters)
    if not told.any() or knotters < 2:
        return Which(None, (), 1.0)
    pairs = np.unique(position[told] * 16 + knotter[told])
    counts = np.bincount(pairs % 16, minlength=knotters + 1)[1:]
    at_bale = np.unique(pairs // 16, return_counts=True)[1]
    whole = knotters - 1 if knotters >= 4 else knotters
    if len(at_bale) >= 2 and (at_bale >= whole).mean() >= AT_ONCE:
        return Which(role.all, tuple(range(1, knotters + 1)), evenness(counts))
    hot, p_hot = _set_apart(counts)
    p_even = evenness(counts)
    if len(hot) == 1:
        return Which(role.one, hot, p_even, p_hot)
    if 2 <= len(hot) <= max(2, knotters // 2) and len(hot) < knotters:
        return Which(role.few, hot, p_even, p_hot)
    if not hot and counts.sum() >= ENOUGH_TO_WANDER and (counts > 0).sum() >= 3 and p_even > ALPHA:
        return Which(role.wandering, (), p_even)
    return Which(None, hot, p_even, p_hot)


def _set_apart(counts: Ints) -> tuple[tuple[int, ...], tuple[float, ...]]:
    """Knotters with more than an even share, worst first set apart; sorted by number."""
    left = list(range(len(counts)))
    found: dict[int, float] = {}
    while len(left) > 1:
        remaining = counts[left]
        adjusted = holm(tail(remaining, remaining.sum(), 1 / len(left)))
        worst = int(np.argmin(adjusted))
        if adjusted[worst] >= ALPHA:
            break
        found[left.pop(worst) + 1] = float(adjusted[worst])
    hot = tuple(sorted(found))
    return hot, tuple(found[k] for k in hot)


def evenness(counts: Ints) -> float:
    """p-value of the multinomial test of equal shares, statistic the sum of squares.

    Exact up to EXACT_UP_TO events; above, from DRAWS seeded draws (at least 1/(DRAWS+1)).
    """
    total, cells = int(counts.sum()), len(counts)
    observed = int((counts.astype(np.int64) ** 2).sum())
    if total == 0:
        return 1.0
    if total <= EXACT_UP_TO:
        chances = _sum_of_squares(total, cells)
        return float(min(1.0, chances[observed:].sum()))
    draws = np.random.default_rng(total).multinomial(total, np.full(cells, 1 / cells), DRAWS)
    return float((1 + ((draws**2).sum(axis=1) >= observed).sum()) / (DRAWS + 1))


def _sum_of_squares(total: int, cells: int) -> Floats:
    """Chance of each sum of squares of `cells` counts that sum to `total`, evenly thrown.

    Built cell by cell: weights[n, s] is the sum of 1/(m1! m2! ...) over the counts of the
    cells so far that sum to n and whose squares sum to s.
    """
    inverse = 1.0 / np.cumprod(np.concatenate([[1.0], np.arange(1.0, total + 1)]))
    weights = np.zeros((total + 1, total * total + 1))
    weights[0, 0] = 1.0
    for _ in range(cells):
        grown = np.zeros_like(weights)
        for m in range(total + 1):
            square = m * m
            grown[m:, square:] += (
                inverse[m] * weights[: total + 1 - m, : total * total + 1 - square]
            )
        weights = grown
    row: Floats = weights[total] / weights[total].sum()
    return row
