"""What is known of twine and bale, and what follows from it; the rest is left out with a word."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pydantic import Field

from diagnose.errors import InputError
from diagnose.machine.profile import MachineFile
from diagnose.machine.units import convert, parse_quantity
from diagnose.say import Part, View
from diagnose.say.text import wrapped
from diagnose.twine import formulas

ASSUMES = (
    "even pressure over the end of the bale, every strand pulls its share, no friction. "
    "The plunger's stroke pulls more for a moment."
)


@dataclass(frozen=True)
class TwineInputs:
    """All optional. Sizes in mm, runnage in m/kg, force in N, pressure in kPa, mass in kg."""

    label: str | None = None
    runnage: float | None = None
    knot_strength: float | None = None
    pressure: float | None = None
    density: float | None = None
    known: tuple[tuple[float, float], ...] = ()
    bale: tuple[float, ...] | None = None
    strands: int | None = None
    bales: int | None = None
    ball: float | None = None
    allowance: float = formulas.KNOT_ALLOWANCE

    @classmethod
    def read(
        cls,
        given: Mapping[str, str | int | None],
        known: Sequence[str],
        machine: MachineFile | None,
    ) -> TwineInputs:
        """From what was typed, and for the rest from the machine file. Raises InputError."""

        def read(name: str, unit: str) -> float | None:
            text = given.get(name)
            if text is None:
                return None
            value = convert(*parse_quantity(str(text)), to=unit)
            if value <= 0:
                raise InputError(f"{name.replace('_', ' ')} {text} must be more than 0")
            return value

        label = machine.twine if machine else None
        bale = given.get("bale")
        strands, bales = given.get("strands"), given.get("bales")
        allowance = read("allowance", "mm")
        return cls(
            label=label.label if label else None,
            runnage=read("runnage", "m/kg") or (label.runnage if label else None),
            knot_strength=read("knot_strength", "N") or (label.knot_strength if label else None),
            pressure=read("pressure", "kPa"),
            density=read("density", "kg/m3"),
            known=tuple(formulas.parse_known_point(text) for text in known),
            bale=formulas.parse_sizes(str(bale)) if bale else _bale_of(machine),
            strands=int(strands) if strands else (machine.strand_count if machine else None),
            bales=int(bales) if bales else None,
            ball=read("ball", "kg") or (label.ball if label else None),
            allowance=formulas.KNOT_ALLOWANCE if allowance is None else allowance,
        )


def _bale_of(machine: MachineFile | None) -> tuple[float, ...] | None:
    if machine is None or machine.bale is None:
        return None
    sizes = (machine.bale.width, machine.bale.height, machine.bale.length)
    return tuple(size for size in sizes if size is not None)


class RunnagePart(Part):
    """The same runnage in three units."""

    metres: float = Field(alias="m/kg")
    feet: float = Field(alias="ft/lb")
    tex: float


class JobPart(Part):
    bales: int
    metres: float
    kg: float | None
    balls: int | None


class TwineView(View):
    """What follows for knot and job; null where something is missing, which `missing` names."""

    nulls = True
    label: str | None
    runnage: RunnagePart | None
    pressure_kPa: float | None  # noqa: N815
    strand_force_N: float | None  # noqa: N815
    strand_force_one_gone_N: float | None  # noqa: N815
    knot_strength_N: float | None  # noqa: N815
    margin: float | None
    bale_kg: float | None
    job: JobPart | None
    missing: tuple[str, ...]


@dataclass(frozen=True)
class TwineReport:
    """What follows; None where something is missing, which `missing` names."""

    inputs: TwineInputs
    pressure: float | None = None
    force: float | None = None
    force_one_gone: float | None = None
    """N on each of the others when one strand has failed."""
    margin: float | None = None
    """Declared knot strength over force."""
    mass: float | None = None
    """Of one bale, kg."""
    job: formulas.Job | None = None
    missing: tuple[str, ...] = field(default=())

    def view(self) -> TwineView:
        """For other programs."""
        return TwineView.model_validate(self._data())

    def _data(self) -> dict[str, Any]:
        inputs, job = self.inputs, self.job
        runnage = inputs.runnage
        return {
            "label": inputs.label,
            "runnage": {u: convert(runnage, "m/kg", u) for u in ("m/kg", "ft/lb", "tex")}
            if runnage
            else None,
            "pressure_kPa": self.pressure,
            "strand_force_N": self.force,
            "strand_force_one_gone_N": self.force_one_gone,
            "knot_strength_N": inputs.knot_strength,
            "margin": self.margin,
            "bale_kg": self.mass,
            "job": {
                "bales": job.bales,
                "metres": job.metres,
                "kg": job.kilograms,
                "balls": job.balls,
            }
            if job
            else None,
            "missing": list(self.missing),
        }


def twine_report(inputs: TwineInputs) -> TwineReport:
    """Everything that the inputs allow. Raises InputError where nothing at all is given."""
    if not any((inputs.runnage, inputs.knot_strength, inputs.pressure, inputs.density)) and (
        inputs.bale is None or inputs.bales is None
    ):
        raise InputError("nothing to work with; give --machine FILE, or --runnage '130 m/kg'")
    missing: list[str] = []
    pressure = _pressure(inputs, missing)
    force = one_gone = None
    if pressure is not None:
        force, one_gone = _forces(inputs, pressure, missing)
    if force and inputs.knot_strength is None:
        missing.append("margin: read the knot strength on the twine's own label (--knot-strength)")
    volume = _volume(inputs.bale)
    return TwineReport(
        inputs=inputs,
        pressure=pressure,
        force=force,
        force_one_gone=one_gone,
        margin=inputs.knot_strength / force if inputs.knot_strength and force else None,
        mass=inputs.density * volume if inputs.density and volume else None,
        job=_job(inputs, missing),
        missing=tuple(missing),
    )


def _pressure(inputs: TwineInputs, missing: list[str]) -> float | None:
    if inputs.pressure is not None:
        if inputs.density is not None and inputs.known:
            raise InputError("give the pressure, or a density with two --known points, not both")
        return inputs.pressure
    if inputs.density is None:
        missing.append("strand force: give --pressure, or --density with two --known points")
        return None
    if len(inputs.known) != 2:
        missing.append(
            "strand force: a density tells a pressure only for your crop; give two points of it, "
            "--known '150 kg/m3 = 8 kPa' --known '190 kg/m3 = 14 kPa'"
        )
        return None
    return formulas.pressure_at(inputs.density, inputs.known)


def _forces(
    inputs: TwineInputs, pressure: float, missing: list[str]
) -> tuple[float | None, float | None]:
    if inputs.bale is None or len(inputs.bale) < 2 or inputs.strands is None:
        missing.append("strand force: give --bale 'width x height' and --strands")
        return None, None
    width, height = inputs.bale[:2]
    force = formulas.strand_force(pressure, width, height, inputs.strands)
    if inputs.strands == 1:
        return force, None
    return force, formulas.strand_force(pressure, width, height, inputs.strands - 1)


def _volume(bale: tuple[float, ...] | None) -> float | None:
    """m3, of a bale whose three sides are known."""
    if bale is None or len(bale) < 3:
        return None
    width, height, length = bale[:3]
    return width * height * length * 1e-9


def _job(inputs: TwineInputs, missing: list[str]) -> formulas.Job | None:
    if inputs.bales is None:
        return None
    if inputs.bale is None or len(inputs.bale) < 3 or inputs.strands is None:
        missing.append("metres: give --bale 'width x height x length' and --strands")
        return None
    _, height, length = inputs.bale[:3]
    if inputs.runnage is None or inputs.ball is None:
        missing.append("balls: read runnage and weight of a ball on the label (--runnage, --ball)")
    each = formulas.metres_per_bale(length, height, inputs.strands, inputs.allowance)
    return formulas.job(inputs.bales, each, inputs.runnage, inputs.ball)


def lines(report: TwineReport) -> Iterator[str]:
    """The report for a person, 80 columns."""
    inputs = report.inputs
    if report.margin is not None and report.margin < 1:
        yield from wrapped("Too weak: the strand pulls more than the label says the knot holds.")
    if inputs.label:
        yield from _row("Twine", f"{inputs.label}")
    if inputs.runnage:
        foot, tex = (convert(inputs.runnage, "m/kg", unit) for unit in ("ft/lb", "tex"))
        yield from _row(
            "Runnage", f"{inputs.runnage:.4g} m/kg = {foot:.4g} ft/lb = {_grouped(tex)} tex"
        )
    yield from _force_lines(report)
    if report.mass:
        yield from _row("Bale", f"{report.mass:.0f} kg at {inputs.density:.4g} kg/m3")
    yield from _job_lines(report)
    for line in report.missing:
        yield from wrapped(line, first="Not known: ")


def _force_lines(report: TwineReport) -> Iterator[str]:
    inputs, force = report.inputs, report.force
    if force is None or report.pressure is None or inputs.bale is None:
        return
    section = " x ".join(f"{side / 1000:.3g}" for side in inputs.bale[:2])
    pounds = convert(force, "N", "lbf")
    yield from _row(
        "Strand force", f"{_grouped(force)} N ({pounds:.0f} lbf) on each of {inputs.strands}"
    )
    yield from _row("", f"at {report.pressure:.3g} kPa on {section} m, as the bale is tied off")
    least, most = (force * (1 - share) for share in reversed(formulas.RELAXES_BY))
    relaxed = f"{_grouped(least)} to {_grouped(most)} N"
    yield from _row("", f"{relaxed} once relaxed (timothy, ASABE MBSK 06-205)")
    if report.force_one_gone:
        yield from _row("", f"{_grouped(report.force_one_gone)} N on each once one strand is gone")
    if report.margin is not None and inputs.knot_strength is not None:
        gone = report.force_one_gone
        holds = "" if gone is None else ("; holds" if inputs.knot_strength > gone else "; fails")
        yield from _row(
            "Knot strength", f"{_grouped(inputs.knot_strength)} N, as declared on the label"
        )
        after = f"{holds} with one strand gone" if holds else ""
        yield from _row("Margin", f"{report.margin:.2f} times the force{after}")
    yield from wrapped(ASSUMES, 15, first="Assumes")
    if inputs.pressure is None and inputs.known:
        (low, _), (high, _) = sorted(inputs.known)
        inside = low <= (inputs.density or 0) <= high
        where = "" if inside else ", which lie elsewhere"
        yield from _row("", f"by a power law through your two points{where}")


def _job_lines(report: TwineReport) -> Iterator[str]:
    job, inputs = report.job, report.inputs
    if job is None:
        return
    each = job.metres / job.bales
    yield from _row(f"For {job.bales} bales", f"{_grouped(job.metres)} m, {each:.1f} m a bale")
    if job.kilograms:
        balls = f" = {job.balls} balls of {inputs.ball:.4g} kg" if job.balls else ""
        yield from _row("", f"{_grouped(job.kilograms)} kg{balls}, and none to spare")
    basis = ", judgement" if inputs.allowance == formulas.KNOT_ALLOWANCE else ""
    yield from _row("", f"with {inputs.allowance:.0f} mm a strand for knots and tails{basis}")


def _grouped(value: float) -> str:
    return f"{value:,.0f}".replace(",", " ")


def _row(label: str, text: str) -> list[str]:
    return wrapped(text, 15, first=label.ljust(15))
