"""Quantities as people write them, and exact conversion between their units.

Factors are exact by definition: inch 25.4 mm, pound 0.45359237 kg, standard gravity
9.80665 m/s2 (NIST SP 811, appendix B; from memory). A decimal comma reads as a point.
"""

from __future__ import annotations

import math
import re
import unicodedata
from typing import NamedTuple

from diagnose.errors import InputError, nearest

_POUND = 0.45359237  # kg
_GRAVITY = 9.80665  # m/s2
_FOOT = 0.3048  # m
_INCH = 0.0254  # m
_PSI = _POUND * _GRAVITY / _INCH**2  # Pa

# unit -> (dimension, size in the dimension's first unit)
_SIZES: dict[str, tuple[str, float]] = {
    "mm": ("length", 1.0),
    "cm": ("length", 10.0),
    "m": ("length", 1000.0),
    "in": ("length", _INCH * 1000),
    "ft": ("length", _FOOT * 1000),
    "N": ("force", 1.0),
    "daN": ("force", 10.0),
    "kN": ("force", 1000.0),
    "lbf": ("force", _POUND * _GRAVITY),
    "kgf": ("force", _GRAVITY),
    "deg": ("angle", 1.0),
    "rad": ("angle", 180 / math.pi),
    "m/kg": ("runnage", 1.0),
    "ft/lb": ("runnage", _FOOT / _POUND),
    "tex": ("runnage", 1e6),
    "kPa": ("pressure", 1.0),
    "MPa": ("pressure", 1000.0),
    "GPa": ("pressure", 1e6),
    "bar": ("pressure", 100.0),
    "psi": ("pressure", _PSI / 1000),
    "Mpsi": ("pressure", _PSI * 1000),
    "kg": ("mass", 1.0),
    "lb": ("mass", _POUND),
    "kg/m3": ("density", 1.0),
    "lb/ft3": ("density", _POUND / _FOOT**3),
}
# tex is grams a kilometre, so that runnage in m/kg is 1e6 divided by it.
_RECIPROCAL = {"tex"}

_ALIASES = {
    '"': "in",
    "''": "in",
    "inch": "in",
    "inches": "in",
    "in.": "in",
    "'": "ft",
    "feet": "ft",
    "foot": "ft",
    "millimetre": "mm",
    "millimetres": "mm",
    "millimeters": "mm",
    "millimeter": "mm",
    "n": "N",
    "newton": "N",
    "newtons": "N",
    "dan": "daN",
    "kn": "kN",
    "kp": "kgf",
    "lbs": "lb",
    "pounds": "lb",
    "°": "deg",
    "degree": "deg",
    "degrees": "deg",
    "kpa": "kPa",
    "mpa": "MPa",
    "gpa": "GPa",
    "mpsi": "Mpsi",
    "g/km": "tex",
    "kg/m³": "kg/m3",
    "lb/ft³": "lb/ft3",
}
# On a pull scale a technician writes kg or lb and means the force.
_MASS_READ_AS_FORCE = {"kg": "kgf", "lb": "lbf"}

_NUMBER = re.compile(
    r"""(?P<sign>[+-]?)\s*
    (?: (?: (?P<whole>\d+) [\s-]+ )? (?P<top>\d+) \s*/\s* (?P<bottom>\d+)
      | (?P<decimal> \d+ (?:[.,]\d+)? | [.,]\d+ ) )
    \s* (?P<unit>.*)""",
    re.VERBOSE,
)
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")


class Quantity(NamedTuple):
    """A number and its unit, as a person gave them."""

    value: float
    unit: str

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}"


def unit_named(text: str) -> str:
    """The unit a person means by `text` (`inch`, `"`, `newton`...). Raises InputError."""
    plain = text.strip().replace("″", '"').replace("”", '"').replace("“", '"').replace("′", "'")
    for name in (plain, plain.lower()):
        if name in _SIZES:
            return name
        if name in _ALIASES:
            return _ALIASES[name]
    raise InputError(
        f"'{text.strip()}' is no unit known here{nearest(plain, [*_SIZES, *_ALIASES])}; "
        f"known: {', '.join(_SIZES)}"
    )


def dimension(unit: str) -> str:
    """`length`, `force`, `angle`, `runnage`, `pressure`, `mass` or `density`."""
    return _SIZES[unit_named(unit)][0]


def convert(value: float, unit: str, to: str) -> float:
    """`value` in `unit`, said in `to`. Raises InputError where the two measure other things.

    Runnage and tex are reciprocal; kg and lb read as kgf and lbf where a force is wanted.
    """
    unit, to = unit_named(unit), unit_named(to)
    if dimension(to) == "force":
        unit = _MASS_READ_AS_FORCE.get(unit, unit)
    if dimension(unit) != dimension(to):
        raise InputError(
            f"{value:g} {unit} is a {dimension(unit)}, but a {dimension(to)} in {to} is wanted"
        )
    if unit == to:
        return value
    if (unit in _RECIPROCAL or to in _RECIPROCAL) and value <= 0:
        raise InputError(f"{value:g} {unit} is no twine: it must be more than 0")
    base = _SIZES[unit][1] / value if unit in _RECIPROCAL else value * _SIZES[unit][1]
    return _SIZES[to][1] / base if to in _RECIPROCAL else base / _SIZES[to][1]


def parse_quantity(text: str, unit: str | None = None) -> Quantity:
    """Read `33`, `33,5 mm`, `4 1/8"`, `1/2 in`, `40 N` or `12 deg`.

    `unit` is what a bare number is in; a unit written in `text` goes before it.
    Raises InputError for what is no number, for a missing unit, and for `1,234`, which
    may be meant as 1.234 or as 1234.
    """
    plain = _plain(text)
    match = _NUMBER.fullmatch(plain)
    if not match:
        raise InputError(f"'{text.strip()}' is no number; write 33, 33.5 or 4 1/8")
    if match["decimal"] and _THOUSANDS.fullmatch(match["decimal"]):
        point, none = match["decimal"].replace(",", "."), match["decimal"].replace(",", "")
        raise InputError(f"'{text.strip()}' may mean {point} or {none}; write one of these")
    if match["unit"]:
        unit = unit_named(match["unit"])
    elif unit is None:
        raise InputError(f"'{text.strip()}' has no unit; write it behind the number, as in 33 mm")
    return Quantity(_magnitude(match, text), unit_named(unit))


def _plain(text: str) -> str:
    """Typographic signs as plain ones: `−` as `-`, `4⅛` as `4 1/8`, no-break spaces as spaces."""
    out = []
    for char in text.strip():
        if unicodedata.category(char) == "No" and "VULGAR FRACTION" in unicodedata.name(char):
            out.append(" " + unicodedata.normalize("NFKC", char).replace("⁄", "/"))
        else:
            out.append(" " if char.isspace() else char)
    return "".join(out).replace("−", "-").replace("⁄", "/").replace("–", "-").strip()


def _magnitude(match: re.Match[str], text: str) -> float:
    if match["decimal"]:
        size = float(match["decimal"].replace(",", "."))
    else:
        if int(match["bottom"]) == 0:
            raise InputError(f"'{text.strip()}' divides by nothing")
        size = int(match["top"]) / int(match["bottom"]) + int(match["whole"] or 0)
    if not math.isfinite(size):
        raise InputError(f"'{text.strip()}' is too large to be a reading")
    return -size if match["sign"] == "-" else size


_INCH_UNITS = {"mm": ("in", 3), "N": ("lbf", 1)}
_PLACES = {"mm": 1, "N": 0, "deg": 1}


def shown(value: float, unit: str, *, inches: bool = False, places: int | None = None) -> str:
    """A value for people: `33.0 mm`, `430 N`; with `inches` as `1.299 in`, `96.7 lbf`."""
    decimals = _PLACES.get(unit, 1)
    if inches and unit in _INCH_UNITS:
        to, decimals = _INCH_UNITS[unit]
        value, unit = convert(value, unit, to), to
    return f"{value:.{max(decimals, places or 0)}f} {unit}"
