"""Values that look like a slip of the pen: what may be meant, never corrected on its own.

A reading far out of its band is asked about when a usual slip (a lost decimal point, inches
for millimetres, pounds or kilograms for newtons) would explain it.
"""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.case import Reading
from diagnose.knowledge.model import Setting
from diagnose.machine.units import convert

# A reading is far when it is off its nominal by this factor, and past its limit by more gauges
# than this. A lost decimal point may hide a wrong setting too, so that undoing it need only come
# within this share of the nominal. All judgement.
_FAR, _GAUGES, _SHARE = 3.0, 3.0, 0.25
_DECIMAL = {10.0: "decimal point", 0.1: "decimal point", 100.0: "cm or m", 0.01: "cm or m"}
_UNITS = {"mm": ("in",), "N": ("lbf", "kgf"), "deg": ("rad",)}


def likely_meant(setting: Setting, reading: Reading) -> tuple[float, str] | None:
    """What an unlikely reading may be meant as, in its own unit, and which slip explains it."""
    value = convert(reading.value, reading.unit, setting.unit)
    low, high = setting.band
    usual = setting.nominal or high
    past = max(low - value, value - high)
    if past <= _GAUGES * setting.gauge or value <= 0 or usual / _FAR <= value <= usual * _FAR:
        return None
    likely = [
        (abs(value * factor - setting.nominal), factor, why)
        for factor, why, margin in _usual_slips(setting)
        if low - margin <= value * factor <= high + margin
    ]
    if not likely:
        return None
    _, factor, why = min(likely)
    return float(f"{reading.value * factor:.4g}"), why


def _usual_slips(setting: Setting) -> Iterator[tuple[float, str, float]]:
    """Factor that undoes a slip, its name, and how far from the band it may leave a value."""
    low, high = setting.band
    for factor, why in _DECIMAL.items():
        yield factor, why, max(high - low, _SHARE * setting.nominal)
    for unit in _UNITS[setting.unit]:
        size = convert(1, unit, setting.unit)
        yield size, f"{unit} for {setting.unit}", 0.0
        yield 1 / size, f"{setting.unit} for {unit}", 0.0
