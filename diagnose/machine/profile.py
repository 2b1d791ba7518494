"""The machine file: what is known of one baler. What is not known stays unknown.

A value whose unit could be mistaken is written with it (`1200 mm`, `4 1/8"`). The
machine's own manual goes before common practice: see `with_manual`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, PositiveFloat, ValidationError

from diagnose import case
from diagnose.errors import InputError, InputFaultsError, Place, nearest
from diagnose.knowledge.item import Basis, Item
from diagnose.knowledge.load import faults_of
from diagnose.knowledge.model import Knowledge, Setting
from diagnose.knowledge.yaml_file import Document, read_yaml
from diagnose.machine import springs, threads
from diagnose.machine.units import Quantity, convert, parse_quantity


def _quantity(value: Any) -> Quantity:
    """A value with its unit. Raises ValueError, the only error pydantic collects."""
    try:
        return value if isinstance(value, Quantity) else parse_quantity(str(value))
    except InputError as error:
        raise ValueError(error.what) from None


def _in(unit: str) -> BeforeValidator:
    def read(value: Any) -> float:
        try:
            return convert(*_quantity(value), to=unit)
        except InputError as error:
            raise ValueError(error.what) from None

    return BeforeValidator(read)


def _thread(value: str) -> str:
    try:
        threads.pitch(value)
    except InputError as error:
        raise ValueError(error.what) from None
    return value


Length = Annotated[PositiveFloat, _in("mm")]
Force = Annotated[PositiveFloat, _in("N")]
Modulus = Annotated[PositiveFloat, _in("GPa")]
Runnage = Annotated[PositiveFloat, _in("m/kg")]
Mass = Annotated[PositiveFloat, _in("kg")]
AnyQuantity = Annotated[Quantity, BeforeValidator(_quantity)]


class Bale(Item):
    """The bale chamber's section, and the length of bale made; mm."""

    width: Length
    height: Length
    length: Length | None = None


class ManualTolerance(Item):
    """A tolerance from the machine's own manual, with where it stands there."""

    nominal: AnyQuantity
    band: tuple[AnyQuantity, AnyQuantity] | None = None
    reference: str = Field(min_length=1)


class Arms(Item):
    """Distances from the pivot, mm: to the adjuster, and to the place measured."""

    adjuster: Length
    measured: Length

    @property
    def ratio(self) -> float:
        """Movement at the place measured for each mm at the adjuster."""
        return self.measured / self.adjuster


class Adjuster(Item):
    """How a setting is moved: by a thread, directly or over a lever, or as tried out."""

    thread: Annotated[str, AfterValidator(_thread)] | None = None
    flats: int = Field(default=6, ge=1, le=12)
    direct: bool = False
    """The adjuster moves the place measured by as much as it moves itself."""
    arms: Arms | None = None
    per_turn: AnyQuantity | None = None
    """What one turn was seen to move at the place measured, in any fitting unit; goes first."""

    @property
    def ratio(self) -> float | None:
        if self.arms:
            return self.arms.ratio
        return 1.0 if self.direct else None

    @property
    def travel_per_turn(self) -> float | None:
        """Movement by thread and lever, mm a turn; None while something is unknown."""
        if self.thread is None or self.ratio is None:
            return None
        return threads.pitch(self.thread) * self.ratio


class Spring(Item):
    """The wire and coils of a compression spring, mm and GPa."""

    wire: Length | None = None
    mean_diameter: Length | None = None
    outside_diameter: Length | None = None
    active_coils: PositiveFloat | None = None
    modulus: Modulus | None = None
    material: str | None = None
    """A wire standard, e.g. EN 10270-1, instead of the modulus."""
    free_length: Length | None = None

    @property
    def shear_modulus(self) -> float | None:
        """GPa, as given or by the wire's standard."""
        return self.modulus or springs.SHEAR_MODULUS.get(self.material or "")

    @property
    def coil_diameter(self) -> float | None:
        """Mean diameter in mm, as given or the outside less one wire."""
        if self.mean_diameter is None and self.outside_diameter and self.wire:
            return self.outside_diameter - self.wire
        return self.mean_diameter

    @property
    def rate(self) -> float | None:
        """N/mm; None while something is unknown."""
        wire, diameter, coils = self.wire, self.coil_diameter, self.active_coils
        modulus = self.shear_modulus
        if wire is None or diameter is None or coils is None or modulus is None:
            return None
        return springs.spring_rate(wire, diameter, coils, modulus)

    def force(self, length: float) -> float | None:
        """N at `length` mm; None while something is unknown."""
        if self.rate is None or self.free_length is None:
            return None
        return springs.spring_force(self.rate, self.free_length, length)


class Twine(Item):
    """What the twine's own label says."""

    label: str
    runnage: Runnage | None = None
    knot_strength: Force | None = None
    """Declared on the label; never taken from a table."""
    ball: Mass | None = None


class MachineFile(Item):
    """One baler, as its owner describes it."""

    name: str = Field(min_length=1)
    type: str | None = None
    knotters: int = Field(ge=1, le=12)
    strands: int | None = Field(default=None, ge=1, le=12)
    """Strands around the bale; where it is not said, one for each knotter."""
    knotter_one: Literal["left", "right"] = "left"
    """On which side knotter 1 is, seen from the seat."""
    bale: Bale | None = None
    tolerances: dict[str, ManualTolerance] = Field(default_factory=dict)
    adjusters: dict[str, Adjuster] = Field(default_factory=dict)
    springs: dict[str, Spring] = Field(default_factory=dict)
    twine: Twine | None = None
    notes: str | None = None

    @property
    def strand_count(self) -> int:
        return self.strands or self.knotters

    def in_case(self) -> case.Machine:
        """What a case says of this machine."""
        return case.Machine(name=self.name, type=self.type, knotters=self.knotters)


def read_machine(path: Path, knowledge: Knowledge) -> MachineFile:
    """Read a machine file. Raises InputError with every fault, each with its line."""
    document = read_yaml(path)
    faults = list(document.faults)
    if not isinstance(document.data, dict):
        raise InputError(
            "is no machine file; it begins with 'name:' and 'knotters:'", Place(path, 1)
        )
    try:
        machine = MachineFile.model_validate(document.data)
    except ValidationError as error:
        raise InputFaultsError([*faults, *faults_of(error, document, (), MachineFile)]) from None
    faults += _faults(machine, knowledge, document)
    if faults:
        raise InputFaultsError(faults)
    return machine


def _faults(machine: MachineFile, knowledge: Knowledge, document: Document) -> Iterator[InputError]:
    for section in ("tolerances", "adjusters", "springs"):
        for name, entry in getattr(machine, section).items():
            if name not in knowledge.settings:
                near = nearest(name, knowledge.settings)
                what = f"there is no setting '{name}'{near}"
            else:
                what = _wrong(knowledge.settings[name], entry)
            if what:
                yield InputError(what, document.place((section, name)))


def _wrong(setting: Setting, entry: ManualTolerance | Adjuster | Spring) -> str:
    """What is wrong with one entry for `setting`; empty when nothing is."""
    try:
        match entry:
            case ManualTolerance():
                _in_place(setting, entry)
            case Adjuster(per_turn=Quantity() as moved):
                if convert(*moved, to=setting.unit) <= 0:
                    return "per_turn must be more than 0"
            case Spring(material=str() as material) if material not in springs.SHEAR_MODULUS:
                known = ", ".join(springs.SHEAR_MODULUS)
                return (
                    f"no shear modulus known for '{material}'; known: {known}; "
                    "or write modulus: 79.3 GPa, for example"
                )
            case Spring():
                _ = entry.rate
    except InputError as error:
        return error.what
    return ""


def _in_place(setting: Setting, tolerance: ManualTolerance) -> Setting:
    """The setting with the manual's tolerance, so no example any more. A band the manual does not
    give stays as it was, moved along with the nominal."""
    unit = setting.unit
    nominal = convert(*tolerance.nominal, to=unit)
    basis = Basis(kind="manual", source=tolerance.reference)
    if tolerance.band is None:
        low, high = (nominal + limit - setting.nominal for limit in setting.band)
        own = {"nominal": nominal, "band": (low, high), "basis": basis, "example": False}
        return setting.model_copy(update=own)
    low, high = (convert(*limit, to=unit) for limit in tolerance.band)
    if not low <= nominal <= high:
        raise InputError(f"the nominal {nominal:g} {unit} is outside its band {low:g} to {high:g}")
    own = {"nominal": nominal, "band": (low, high), "basis": basis, "example": False}
    return setting.model_copy(update=own | {"band_basis": basis})


def with_manual(knowledge: Knowledge, machine: MachineFile | None) -> Knowledge:
    """The same knowledge with the tolerances of the machine's own manual put first."""
    if machine is None or not machine.tolerances:
        return knowledge
    settings = {
        name: _in_place(setting, machine.tolerances[name])
        if name in machine.tolerances
        else setting
        for name, setting in knowledge.settings.items()
    }
    return replace(knowledge, settings=settings)
