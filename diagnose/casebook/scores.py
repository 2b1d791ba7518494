"""How good were the chances that were given: Brier score, log score, reliability.

Brier, Monthly Weather Review 78, 1950; Good, J. R. Statist. Soc. B 14, 1952 (log score);
Wilson, J. Am. Statist. Assoc. 22, 1927 (interval). All from memory, checked against
scikit-learn and statsmodels in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
NORMAL_95 = 1.959963984540054


@dataclass(frozen=True)
class Bin:
    """Chances in [low, high): how many, their mean, and how often it was so."""

    low: float
    high: float
    n: int
    mean_chance: float
    came_true: int

    @property
    def share(self) -> float:
        return self.came_true / self.n

    @property
    def interval(self) -> tuple[float, float]:
        """Wilson's 95 % interval of the share."""
        return wilson(self.came_true, self.n)


def brier_score(outcomes: npt.ArrayLike, chances: npt.ArrayLike) -> float:
    """Mean squared difference between chances (n,) and what happened (n,), 0 or 1."""
    difference = np.asarray(chances, float) - np.asarray(outcomes, float)
    return float(np.mean(difference**2))


def log_loss(outcomes: npt.ArrayLike, chances: npt.ArrayLike) -> float:
    """Mean of -ln of the chance given to what happened; (n,) each."""
    truth, given = np.asarray(outcomes, bool), np.asarray(chances, float)
    return float(-np.mean(np.log(np.where(truth, given, 1 - given))))


def brier_score_of_many(truth: npt.ArrayLike, chances: npt.ArrayLike) -> float:
    """Brier's own score over k possible causes: 0 is perfect, 2 is worst.

    truth (n,) indices of what was the cause, chances (n, k).
    """
    given = np.asarray(chances, float)
    happened = np.eye(given.shape[1])[np.asarray(truth, int)]
    return float(np.mean(((given - happened) ** 2).sum(axis=1)))


def log_score_of_many(truth: npt.ArrayLike, chances: npt.ArrayLike) -> float:
    """Mean of -ln of the chance given to the true cause. truth (n,), chances (n, k)."""
    given = np.asarray(chances, float)
    return float(-np.mean(np.log(given[np.arange(len(given)), np.asarray(truth, int)])))


def reliability(
    outcomes: npt.ArrayLike, chances: npt.ArrayLike, edges: npt.ArrayLike
) -> tuple[Bin, ...]:
    """The bins of a reliability diagram; empty ones are left out.

    outcomes (n,) 0 or 1, chances (n,) in [0, 1], edges ascending from 0 to 1.
    """
    truth, given = np.asarray(outcomes, bool), np.asarray(chances, float)
    limits = np.asarray(edges, float)
    which = np.clip(np.searchsorted(limits, given, side="right") - 1, 0, len(limits) - 2)
    return tuple(
        Bin(
            low=float(limits[b]),
            high=float(limits[b + 1]),
            n=int(inside.sum()),
            mean_chance=float(given[inside].mean()),
            came_true=int(truth[inside].sum()),
        )
        for b in range(len(limits) - 1)
        if (inside := which == b).any()
    )


def calibration_error(bins: tuple[Bin, ...]) -> float:
    """Mean distance between chance given and share that came true, weighted by n."""
    total = sum(b.n for b in bins)
    return sum(b.n * abs(b.mean_chance - b.share) for b in bins) / total if total else 0.0


def wilson(successes: int, n: int, z: float = NORMAL_95) -> tuple[float, float]:
    """Wilson's interval of a share, n > 0."""
    share, spread = successes / n, z * z / n
    middle = share + spread / 2
    half = z * np.sqrt(share * (1 - share) / n + spread / (4 * n))
    return float((middle - half) / (1 + spread)), float((middle + half) / (1 + spread))
