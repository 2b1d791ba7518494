"""Two sheets of one machine: what drifted, how fast, and when it leaves its band.

A change counts when it is more than both readings' uncertainties together can make of
none (root of the sum of squares, JCGM 100:2008, 5.1). Wear is taken as even over the bales
between the two sheets; that is an assumption, and the output says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from diagnose.case import Reading
from diagnose.errors import InputError
from diagnose.knowledge.model import Knowledge, Setting
from diagnose.machine.units import convert
from diagnose.sheet.model import Sheet

THOUSAND = 1000.0


@dataclass(frozen=True)
class Drift:
    """One cell on both sheets, in the setting's unit."""

    setting: Setting
    knotter: int | None
    before: float
    after: float
    uncertainty: float
    """Of the change, plus or minus."""
    thousand_bales: float | None
    """Bales between the sheets, in thousands; None where a counter is not known."""

    @property
    def change(self) -> float:
        return self.after - self.before

    @property
    def drifted(self) -> bool:
        """More than the gauges can make of no change at all."""
        return abs(self.change) > self.uncertainty

    @property
    def set_between(self) -> bool:
        """It came nearer its nominal, which wear seldom does: it was set in between."""
        nominal = self.setting.nominal
        return self.drifted and abs(self.after - nominal) < abs(self.before - nominal)

    @property
    def rate(self) -> float | None:
        """Wear per thousand bales, signed."""
        if not self.drifted or self.set_between or not self.thousand_bales:
            return None
        return self.change / self.thousand_bales

    @property
    def limit(self) -> float:
        """The limit of the band that it drifts towards."""
        return self.setting.band[1] if self.change > 0 else self.setting.band[0]

    def thousand_bales_left(self, rate: float) -> float:
        """Thousands of bales until it leaves its band at `rate`; 0 when it has left."""
        return max(0.0, (self.limit - self.after) / rate)

    @property
    def left(self) -> tuple[float, float] | None:
        """Thousands of bales left, at the fastest and the slowest rate the gauges allow."""
        if self.rate is None or self.thousand_bales is None:
            return None
        sign = 1 if self.change > 0 else -1
        fast = (self.change + sign * self.uncertainty) / self.thousand_bales
        slow = (self.change - sign * self.uncertainty) / self.thousand_bales
        return self.thousand_bales_left(fast), self.thousand_bales_left(slow)


def compare(before: Sheet, after: Sheet, knowledge: Knowledge) -> list[Drift]:
    """Every cell that both sheets hold, in the order of the later one.

    Raises InputError where the sheets are of two machines, or the later one is earlier.
    """
    _fit(before, after)
    thousand = None
    if before.bales is not None and after.bales is not None:
        thousand = (after.bales - before.bales) / THOUSAND
    earlier = {entry.key: entry.reading for entry in before.entries}
    return [
        _drift(
            knowledge.settings[entry.reading.setting], earlier[entry.key], entry.reading, thousand
        )
        for entry in after.entries
        if entry.key in earlier
    ]


def _drift(setting: Setting, first: Reading, second: Reading, thousand: float | None) -> Drift:
    def spread(reading: Reading) -> float:
        if reading.uncertainty is None:
            return setting.gauge
        return convert(reading.uncertainty, reading.unit, setting.unit)

    return Drift(
        setting=setting,
        knotter=second.knotter,
        before=convert(first.value, first.unit, setting.unit),
        after=convert(second.value, second.unit, setting.unit),
        uncertainty=hypot(spread(first), spread(second)),
        thousand_bales=thousand,
    )


def _fit(before: Sheet, after: Sheet) -> None:
    if before.machine and after.machine and before.machine != after.machine:
        raise InputError(
            f"two machines: {before.path} is of '{before.machine}', not '{after.machine}'"
        )
    if before.date and after.date and before.date > after.date:
        raise InputError(f"{before.path} is later than {after.path}; give the later sheet first")
    if before.bales is not None and after.bales is not None and before.bales > after.bales:
        raise InputError(
            f"the bale counter runs back, {before.bales} to {after.bales}; mend it in one of the "
            "sheets, or leave it out"
        )
