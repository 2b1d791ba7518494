"""A reading against its tolerance: low, in, high, or on a limit.

A reading within its uncertainty of a limit is on that limit, neither in nor out: the
guard bands of ISO 14253-1 (from memory), with the band between them left undecided.
"""

from __future__ import annotations

from typing import Literal

from diagnose.errors import InputError
from diagnose.knowledge.model import Setting
from diagnose.machine.units import convert

Grade = Literal["low", "in", "high"]
GradeOrLimit = Literal["low", "in", "high", "low_or_in", "in_or_high", "low_in_or_high"]

POSSIBLE: dict[GradeOrLimit, tuple[Grade, ...]] = {
    "low": ("low",),
    "in": ("in",),
    "high": ("high",),
    "low_or_in": ("low", "in"),
    "in_or_high": ("in", "high"),
    "low_in_or_high": ("low", "in", "high"),
}
"""What a reading leaves open. The last is no evidence: the instrument is too coarse."""

_DECIMALS = 6  # a nanometre: far below any gauge, far above the rounding of a conversion


def grade(
    setting: Setting, value: float, unit: str, uncertainty: float | None = None
) -> GradeOrLimit:
    """How `value`, given in `unit`, stands to the band of `setting`.

    `uncertainty` is plus or minus, in `unit`; without it the usual instrument's counts
    (`setting.gauge`). Raises InputError where `unit` measures something else.
    """
    reading = convert(value, unit, setting.unit)
    spread = setting.gauge if uncertainty is None else convert(uncertainty, unit, setting.unit)
    if spread < 0:
        raise InputError(f"an uncertainty of {uncertainty:g} {unit} is less than none")
    low, high = setting.band
    open_below = low == 0 and setting.too_low is None  # wear or play: none of it is no fault
    on_low = not open_below and round(abs(reading - low) - spread, _DECIMALS) <= 0
    on_high = round(abs(reading - high) - spread, _DECIMALS) <= 0
    if on_low and on_high:
        return "low_in_or_high"
    if on_low:
        return "low_or_in"
    if on_high:
        return "in_or_high"
    if reading < low and not open_below:
        return "low"
    return "high" if reading > high else "in"
