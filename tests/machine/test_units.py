"""Quantities as people write them; conversions against the pint package."""

from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.errors import InputError
from diagnose.machine.units import Quantity, convert, dimension, parse_quantity

PINT_NAMES = {
    "Mpsi": "megapsi",
    "in": "inch",
    "ft": "foot",
    "deg": "degree",
    "rad": "radian",
    "kgf": "kilogram_force",
    "lbf": "pound_force",
    "ft/lb": "foot/pound",
    "m/kg": "meter/kilogram",
    "kg/m3": "kilogram/meter**3",
    "lb/ft3": "pound/foot**3",
}
UNITS = (
    "mm cm m in ft N daN kN lbf kgf deg rad m/kg ft/lb kPa MPa GPa bar psi Mpsi kg lb kg/m3 lb/ft3"
)
PAIRS = [(a, b) for a in UNITS.split() for b in UNITS.split() if dimension(a) == dimension(b)]


@pytest.fixture(scope="module")
def registry() -> Any:
    return pint.UnitRegistry()


@pytest.mark.parametrize(("unit", "to"), PAIRS)
def test_conversions_agree_with_pint(registry: Any, unit: str, to: str) -> None:
    theirs = registry.Quantity(7.25, PINT_NAMES.get(unit, unit)).to(PINT_NAMES.get(to, to))
    assert convert(7.25, unit, to) == pytest.approx(theirs.magnitude, rel=1e-12)


def test_tex_agrees_with_pint(registry: Any) -> None:
    theirs = (1 / registry.Quantity(130, "meter/kilogram")).to("tex")
    assert convert(130, "m/kg", "tex") == pytest.approx(theirs.magnitude, rel=1e-12)


@pytest.mark.parametrize(
    ("metric", "tex", "imperial"),
    # tex system ISO 1144 (from memory); figures computed from the definitions.
    [(110, 9090.9, 163.7), (130, 7692.3, 193.5), (400, 2500, 595.3)],
)
def test_runnage_in_its_three_units(metric: float, tex: float, imperial: float) -> None:
    assert convert(metric, "m/kg", "tex") == pytest.approx(tex, abs=0.05)
    assert convert(metric, "m/kg", "ft/lb") == pytest.approx(imperial, abs=0.05)
    assert convert(tex, "tex", "ft/lb") == pytest.approx(imperial, abs=0.05)


@pytest.mark.parametrize(
    ("value", "unit", "newton"),
    [(130, "lbf", 578.3), (190, "lbf", 845.2), (200, "kgf", 1961.33), (200, "kg", 1961.33)],
)
def test_pounds_and_kilograms_of_force(value: float, unit: str, newton: float) -> None:
    assert convert(value, unit, "N") == pytest.approx(newton, abs=0.05)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("33", 33, "mm"),
        ("33,5", 33.5, "mm"),
        (" 33.5 mm ", 33.5, "mm"),
        ('4 1/8"', 4.125, "in"),
        ("4-1/8 in", 4.125, "in"),
        ("4⅛″", 4.125, "in"),
        ("1/2 inch", 0.5, "in"),
        ("40 N", 40, "N"),
        ("9 lb", 9, "lb"),
        ("12°", 12, "deg"),
        ("−2", -2, "mm"),
        ("0,125", 0.125, "mm"),
        (",5", 0.5, "mm"),
    ],
)
def test_what_a_technician_writes_is_read(text: str, value: float, unit: str) -> None:
    assert parse_quantity(text, "mm") == Quantity(value, unit)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is no number"),
        ("ok", "is no number"),
        ("nan", "is no number"),
        ("1e5", "no unit known"),
        ("3 3", "no unit known"),
        ("4 1/0", "divides by nothing"),
        ("33 mn", "did you mean"),
        ("1,234", "1.234 or 1234"),
        ("9" * 400, "too large"),
    ],
)
def test_what_cannot_be_read_says_why(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        parse_quantity(text, "mm")


def test_a_bare_number_without_a_unit_is_refused() -> None:
    with pytest.raises(InputError, match="has no unit"):
        parse_quantity("33")


def test_a_force_is_no_length() -> None:
    with pytest.raises(InputError, match="is a force, but a length in mm is wanted"):
        convert(3, "N", "mm")


@given(st.sampled_from([*PAIRS, ("tex", "m/kg"), ("ft/lb", "tex")]), st.floats(1e-3, 1e6))
def test_there_and_back_changes_nothing(pair: tuple[str, str], value: float) -> None:
    unit, to = pair
    assert convert(convert(value, unit, to), to, unit) == pytest.approx(value, rel=1e-12)
