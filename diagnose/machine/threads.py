"""Pitch of an adjuster's thread, and movement as turns and flats.

ISO metric coarse pitches: ISO 261 and 262 (M6 to M20 read; the others from memory).
UNC threads an inch: ASME B1.1 (3/8-16 read; the others from memory).
"""

from __future__ import annotations

import re
from typing import NamedTuple

from diagnose.errors import InputError
from diagnose.machine.units import convert, parse_quantity

ISO_COARSE = {
    "M3": 0.5,
    "M4": 0.7,
    "M5": 0.8,
    "M6": 1.0,
    "M8": 1.25,
    "M10": 1.5,
    "M12": 1.75,
    "M14": 2.0,
    "M16": 2.0,
    "M18": 2.5,
    "M20": 2.5,
    "M22": 2.5,
    "M24": 3.0,
    "M27": 3.0,
    "M30": 3.5,
}
"""Pitch in mm."""
UNC = {
    "1/4": 20,
    "5/16": 18,
    "3/8": 16,
    "7/16": 14,
    "1/2": 13,
    "9/16": 12,
    "5/8": 11,
    "3/4": 10,
    "7/8": 9,
    "1": 8,
}
"""Threads an inch."""

_METRIC = re.compile(r"(M\d+)(?:\s*[xX×]\s*(.+))?")
_INCH_SERIES = re.compile(r'(\d+(?:/\d+)?)(?:"|\s*in)?(?:-(\d+))?(?:\s*UNC)?', re.IGNORECASE)
_FLAT_STEPS = 2  # turns are told to half a flat, which a spanner can still set


def pitch(thread: str) -> float:
    """Movement in mm for one turn of `M10`, `M12 x 1.25`, `3/8-16`, `3/8 UNC` or `pitch 1.5 mm`.

    Raises InputError for a thread it does not know.
    """
    text = thread.strip()
    if text.lower().startswith("pitch"):
        value, unit = parse_quantity(text[len("pitch") :])
        return _positive(convert(value, unit, "mm"), thread)
    if match := _METRIC.fullmatch(text):
        size, fine = match.groups()
        if fine:
            value, unit = parse_quantity(fine, "mm")
            return _positive(convert(value, unit, "mm"), thread)
        if size in ISO_COARSE:
            return ISO_COARSE[size]
    elif match := _INCH_SERIES.fullmatch(text):
        size, count = match.groups()
        if count:
            return convert(1, "in", "mm") / _positive(int(count), thread)
        if size in UNC:
            return convert(1, "in", "mm") / UNC[size]
    raise InputError(
        f"'{thread}' is no thread known here; write M10, M12 x 1.25, 3/8-16, or 'pitch 1.5 mm' "
        "(pitch: measure ten threads, divide by ten)"
    )


def _positive(value: float, thread: str) -> float:
    if value <= 0:
        raise InputError(f"'{thread}' has a pitch of nothing")
    return value


class Turns(NamedTuple):
    """A signed number of turns of an adjuster whose head has `flats` flats."""

    exact: float
    flats: int = 6

    @property
    def half_flats(self) -> int:
        """The same to the nearest half flat, signed; halves go away from zero on both sides."""
        count = int(abs(self.exact) * self.flats * _FLAT_STEPS + 0.5)
        return count if self.exact >= 0 else -count

    @property
    def rounded(self) -> float:
        """The turns that the words of `str` amount to."""
        return self.half_flats / (self.flats * _FLAT_STEPS)

    def __str__(self) -> str:
        turns, rest = divmod(abs(self.half_flats), self.flats * _FLAT_STEPS)
        flats, half = divmod(rest, _FLAT_STEPS)
        parts = []
        if turns:
            parts.append(f"{turns} turn{'s' if turns > 1 else ''}")
        if flats or half:
            count = " ".join(filter(None, [str(flats) if flats else "", "1/2" if half else ""]))
            parts.append(f"{count} flat{'s' if flats > 1 or (flats and half) else ''}")
        return " and ".join(parts) or "less than half a flat"


def turns_for(movement: float, per_turn: float, flats: int = 6) -> Turns:
    """Turns that move the measured place by `movement` mm, at `per_turn` mm a turn."""
    return Turns(movement / per_turn, flats)
