"""A sheet's findings as data for other programs, with a schema. Values in the setting's unit."""

from __future__ import annotations

from pydantic import Field

from diagnose.say.view import Part, View
from diagnose.sheet.as_json import drift_data, findings_data
from diagnose.sheet.assess import Findings
from diagnose.sheet.compare import Drift


class CellPart(Part):
    """One setting at one knotter, or on the whole machine."""

    setting: str
    knotter: int | None = None
    grade: str
    value: float | None = None
    unit: str | None = None
    nominal: float | None = None
    band: tuple[float, float] | None = None
    example: bool | None = None
    basis: str | None = None
    band_basis: str | None = None
    move: float | None = None
    effect: str | None = None
    turns: float | None = None
    turns_text: str | None = None
    per_quarter_turn: float | None = None
    spring_force: tuple[float, float] | None = None
    to_measure: tuple[str, ...] | None = None
    moves: tuple[str, ...] | None = None
    cause: str | None = None
    leads_to: tuple[str, ...] | None = None
    mend: str | None = None


class KeyPart(Part):
    setting: str
    knotter: int | None = None


class AskedPart(KeyPart):
    """A cell asked back, and what may be meant."""

    value: float
    unit: str
    meant: float
    why: str
    place: str


class EvenPart(Part):
    """How even a setting is across the shaft."""

    median: float
    spread: float
    odd: tuple[int, ...]


class DriftPart(KeyPart):
    """One cell on an earlier sheet and on this one."""

    before: float
    after: float
    unit: str
    uncertainty: float
    drifted: bool
    set_between: bool
    per_thousand_bales: float | None = None
    thousand_bales_left: tuple[float, float] | None = None


class SheetView(View):
    """What a sheet says: every cell with its grade, and what to do in which order."""

    nulls = True
    machine: str | None = None
    date: str | None = None
    bales: int | None = None
    knotters: int
    cells: tuple[CellPart, ...]
    to_set: tuple[KeyPart, ...]
    on_limit: tuple[KeyPart, ...]
    measure_again: tuple[str, ...]
    asked_back: tuple[AskedPart, ...]
    evenness: dict[str, EvenPart]
    drift: tuple[DriftPart, ...] | None = Field(default=None)


def sheet_view(findings: Findings, drifts: list[Drift] | None = None) -> SheetView:
    """The findings of a sheet, and what drifted since an earlier one."""
    drift = {} if drifts is None else {"drift": drift_data(drifts)}
    return SheetView.model_validate({**findings_data(findings), **drift})
