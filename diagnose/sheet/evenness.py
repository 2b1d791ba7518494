"""Evenness across the shaft: spread, and the odd one out by a robust rule.

The rule is the modified z-score, 0.6745 (x - median) / MAD, of Iglewicz and Hoaglin, How
to Detect and Handle Outliers, 1993 (from memory), with two changes for a shaft of few
knotters, where their limit of 3.5 would name an odd one on every seventh even shaft:

- the limit for n readings is the one that 95 of 100 even shafts keep (own simulation of
  a million normal samples each);
- the scale is never less than the gauge can tell apart: its uncertainty over root 3, the
  standard uncertainty of a uniform error (JCGM 100:2008, 4.3.7).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median

FEWEST = 4
_LIMITS = {4: 6.92, 5: 7.93, 6: 5.54, 7: 5.86, 8: 4.92, 9: 5.07, 10: 4.58, 11: 4.67, 12: 4.37}
_CONSISTENCY = 0.6745  # MAD of a normal sample over its standard deviation


@dataclass(frozen=True)
class Evenness:
    """Spread of one setting over its knotters, in the setting's unit."""

    median: float
    spread: float
    """Largest less smallest."""
    odd: tuple[int, ...]
    """Knotters that stand out, the furthest first."""
    judged: bool
    """Enough readings to name an odd one."""


def modified_z(values: Mapping[int, float], gauge: float) -> dict[int, float]:
    """Modified z-score of each value, the scale no finer than `gauge` (plus or minus)."""
    middle = median(values.values())
    mad = median(abs(value - middle) for value in values.values())
    scale = max(mad / _CONSISTENCY, gauge / 3**0.5)
    return {knotter: (value - middle) / scale for knotter, value in values.items()}


def evenness(values: Mapping[int, float], gauge: float) -> Evenness | None:
    """Evenness of readings by knotter; None with fewer than two."""
    if len(values) < 2:
        return None
    judged = len(values) >= FEWEST
    limit = _LIMITS.get(len(values), 3.5)
    scores = modified_z(values, gauge) if judged else {}
    odd = sorted((k for k in scores if abs(scores[k]) > limit), key=lambda k: -abs(scores[k]))
    return Evenness(
        median=median(values.values()),
        spread=max(values.values()) - min(values.values()),
        odd=tuple(odd),
        judged=judged,
    )
