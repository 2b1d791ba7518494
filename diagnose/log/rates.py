"""Exact binomial figures: Clopper-Pearson intervals, tail chances, Holm's correction.

Clopper and Pearson, Biometrika 26, 1934; Holm, Scandinavian Journal of Statistics 6, 1979.
scipy.special is imported late: the command's help and its errors do not need it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Rate:
    """`events` in `trials` with the exact interval of their share; 0 to 1 without trials."""

    events: int
    trials: int
    low: float
    high: float

    @property
    def share(self) -> float:
        return self.events / self.trials if self.trials else 0.0


def rate(events: int, trials: int, confidence: float = 0.95) -> Rate:
    """A share with its two-sided Clopper-Pearson interval."""
    from scipy.special import betaincinv

    events = min(events, trials)
    miss = (1 - confidence) / 2
    low = float(betaincinv(events, trials - events + 1, miss)) if events else 0.0
    high = float(betaincinv(events + 1, trials - events, 1 - miss)) if events < trials else 1.0
    return Rate(events, trials, low, high)


def tail(events: Any, trials: Any, share: Any) -> Floats:
    """P(X >= events) for X binomial(trials, share); arrays of one shape, or numbers."""
    from scipy.special import betainc

    events, trials, share = np.broadcast_arrays(
        np.asarray(events, float), np.asarray(trials, float), np.asarray(share, float)
    )
    events = np.minimum(events, trials)
    some = events > 0
    out = np.ones(events.shape)
    out[some] = betainc(events[some], trials[some] - events[some] + 1, share[some])
    return out


def holm(p_values: Floats) -> Floats:
    """Holm's step-down adjusted p-values, shape as given."""
    flat = np.asarray(p_values, float).ravel()
    order = np.argsort(flat, kind="stable")
    steps = flat[order] * np.arange(len(flat), 0, -1)
    adjusted = np.empty_like(flat)
    adjusted[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return adjusted.reshape(np.shape(p_values))
