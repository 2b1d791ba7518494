"""Twine: runnage in its three units, the force on a strand, and how much a job takes.

Strand force from the pressure that the bale puts on its ends: F = p A / (2 n). A cut
across the bale meets n loops, each twice, and the strands there hold p A between them.
It is a plain model of this program: even pressure, even strands, no friction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, exp, log

from diagnose.errors import InputError
from diagnose.machine.units import convert, parse_quantity

RELAXES_BY = (0.34, 0.45)
"""Share of its pressure that a timothy bale lost: ASABE paper MBSK 06-205, 2006."""
KNOT_ALLOWANCE = 400.0
"""Twine in knots and tails, mm for each strand of a bale. Judgement."""


def strand_force(pressure: float, width: float, height: float, strands: int) -> float:
    """Force in N on each strand; pressure in kPa, width and height of the bale in mm."""
    area = width * height  # mm2
    return pressure * 1e-3 * area / (2 * strands)


def pressure_at(density: float, known: Sequence[tuple[float, float]]) -> float:
    """Pressure in kPa at `density` kg/m3, by the power law through two known points.

    Pressure over density follows a power law in the baling literature (Faborode and
    O'Callaghan, J. agric. Engng Res. 35, 1986; from memory); its constants depend on crop and
    moisture and are nowhere given for your field, so two pairs of this crop are needed.
    Raises InputError where they do not make a rising curve.
    """
    (low, low_pressure), (high, high_pressure) = sorted(known)
    if min(low, low_pressure, density) <= 0:
        raise InputError("densities and pressures must be more than 0")
    if low == high or low_pressure >= high_pressure:
        raise InputError("the two known points must differ, the denser one at more pressure")
    exponent = log(high_pressure / low_pressure) / log(high / low)
    return low_pressure * exp(exponent * log(density / low))


def metres_per_bale(length: float, height: float, strands: int, allowance: float) -> float:
    """Metres of twine in one bale: once around for each strand, and its knots. Inputs in mm."""
    return strands * (2 * (length + height) + allowance) / 1000


@dataclass(frozen=True)
class Job:
    """Twine for a number of bales."""

    bales: int
    metres: float
    kilograms: float | None
    balls: int | None


def job(bales: int, per_bale: float, runnage: float | None, ball: float | None) -> Job:
    """What `bales` take, at `per_bale` metres; runnage in m/kg, ball in kg, where known."""
    metres = bales * per_bale
    kilograms = metres / runnage if runnage else None
    return Job(bales, metres, kilograms, ceil(kilograms / ball) if kilograms and ball else None)


def parse_sizes(text: str) -> tuple[float, ...]:
    """`1200 x 900 x 2400 mm`, `4 x 3 x 8 ft` as mm; a bare number has the unit of the next."""
    sizes: list[float] = []
    unit: str | None = None
    for part in reversed(text.lower().replace("×", "x").split("x")):
        value, unit = parse_quantity(part, unit)
        size = convert(value, unit, "mm")
        if size <= 0:
            raise InputError(f"'{text}': a bale has no side of {part.strip()}")
        sizes.append(size)
    return tuple(reversed(sizes))


def parse_known_point(text: str) -> tuple[float, float]:
    """`150 kg/m3 = 8 kPa` as density in kg/m3 and pressure in kPa."""
    density, equals, pressure = text.partition("=")
    if not equals:
        raise InputError(f"'{text}': write a density and its pressure, '150 kg/m3 = 8 kPa'")
    return (
        convert(*parse_quantity(density), to="kg/m3"),
        convert(*parse_quantity(pressure), to="kPa"),
    )
