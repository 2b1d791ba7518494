"""A setting with its tolerance, and a chance as people say it."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.knowledge.item import Basis
from diagnose.knowledge.model import Knowledge, Setting
from diagnose.machine.units import shown
from diagnose.say import Block, Labelled, Para, Part, Said, lines, said


class BasisPart(Part):
    """Where a figure comes from."""

    kind: str
    source: str | None = None


class SettingPart(Part):
    """A setting and its tolerance, in its unit."""

    setting: str
    name: str
    nominal: float
    band: tuple[float, float]
    unit: str
    example: bool
    basis: BasisPart
    band_basis: BasisPart
    basis_said: str
    band_basis_said: str
    where: str


def setting_part(base: Knowledge, name: str) -> SettingPart:
    """Raises KeyError for an unknown setting."""
    return part_of(name, base.settings[name])


def part_of(name: str, body: Setting) -> SettingPart:
    return SettingPart(
        setting=name,
        name=body.name,
        nominal=body.nominal,
        band=body.band,
        unit=body.unit,
        example=body.example,
        basis=basis_part(body.basis),
        band_basis=basis_part(body.band_basis),
        basis_said=str(body.basis),
        band_basis_said=str(body.band_basis),
        where=body.where,
    )


def basis_part(basis: Basis) -> BasisPart:
    return BasisPart(kind=basis.kind, source=basis.source)


def tolerance(part: SettingPart, inches: bool = False) -> Said:
    """Nominal, band and basis of each, e.g. `33 mm, between 32 and 34 mm (...)`; an example of
    another machine is said to be one."""
    low, high = (shown(limit, part.unit, inches=inches) for limit in part.band)
    nominal = shown(part.nominal, part.unit, inches=inches)
    holes = {"nominal": nominal, "low": low, "high": high, "basis": part.basis_said}
    if part.basis == part.band_basis:
        return said("bale.example" if part.example else "bale.tolerance", **holes)
    return said(
        "bale.example_band" if part.example else "bale.tolerance_band",
        **holes,
        band_basis=part.band_basis_said,
    )


def setting_blocks(part: SettingPart, inches: bool = False) -> Iterator[Block]:
    """What is right, and how to measure it."""
    label = said("bale.as_given") if part.example else said("bale.right_is")
    yield Labelled(label, tolerance(part, inches))
    if part.basis.kind != "manual":
        yield Para(said("bale.manual_first"), 2)
    yield Labelled(said("bale.measure"), part.where)


def share(value: float) -> Said:
    """`3 in 10`, `1 in 25`: a chance as a count, which reads less like certainty."""
    if value >= 0.095:
        return said("bale.in_ten", n=min(10, round(value * 10)))
    return said("bale.one_in", n=round(1 / value)) if value > 0.001 else said("bale.rarer")


def tolerance_lines(setting: Setting, inches: bool = False) -> list[str]:
    """What is right, and how to measure it, between lines of somebody's own."""
    return lines(setting_blocks(part_of("", setting), inches))


def share_text(value: float) -> str:
    """`3 in 10`, `1 in 25`: a chance as a count."""
    return str(share(value))
