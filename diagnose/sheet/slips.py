"""Values that look like a slip of the pen: asked back, never corrected on their own.

A reading far out of its band is asked about when a usual slip (a lost decimal point, inches
for millimetres, pounds or kilograms for newtons) would bring it near its band.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.knowledge.model import Knowledge, Setting
from diagnose.sheet.model import Entry, Sheet
from diagnose.units import convert

# How many widths of its band a reading may be off before it is doubted. Judgement.
_FAR, _NEAR = 3.0, 1.0
_DECIMAL = {10.0: "decimal point", 0.1: "decimal point", 100.0: "cm or m", 0.01: "cm or m"}
_UNITS = {"mm": ("in",), "N": ("lbf", "kgf"), "deg": ("rad",)}


@dataclass(frozen=True)
class Slip:
    """A doubted cell, and what may be meant, in the unit it was written in."""

    entry: Entry
    meant: float
    why: str


def slips(sheet: Sheet, knowledge: Knowledge) -> list[Slip]:
    """The cells to ask back, in the order of the sheet; those marked `!` are taken as meant."""
    found = []
    for entry in sheet.entries:
        setting = knowledge.settings[entry.reading.setting]
        slip = None if entry.meant else _slip(entry, setting)
        if slip:
            found.append(slip)
    return found


def _slip(entry: Entry, setting: Setting) -> Slip | None:
    value = convert(entry.reading.value, entry.reading.unit, setting.unit)
    low, high = setting.band
    width = high - low
    if low - _FAR * width <= value <= high + _FAR * width and value > 0:
        return None
    factors = dict(_DECIMAL)
    for unit in _UNITS[setting.unit]:
        factors[convert(1, unit, setting.unit)] = f"{unit} for {setting.unit}"
        factors[convert(1, setting.unit, unit)] = f"{setting.unit} for {unit}"
    near = [
        (abs(value * factor - setting.nominal), factor)
        for factor in factors
        if low - _NEAR * width <= value * factor <= high + _NEAR * width
    ]
    if not near:
        return None
    factor = min(near)[1]
    return Slip(entry, float(f"{entry.reading.value * factor:.4g}"), factors[factor])
