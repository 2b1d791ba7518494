"""A sheet against its tolerances: each setting at each knotter, evenness, and what to do."""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.knowledge.model import Cause, Knowledge, Setting
from diagnose.machine.adjustment import Adjustment, adjustment
from diagnose.machine.profile import MachineFile, with_manual
from diagnose.sheet.evenness import Evenness, evenness
from diagnose.sheet.model import Sheet
from diagnose.sheet.order import measure_again, measuring_order, setting_order
from diagnose.sheet.slips import Slip, slips

Cell = tuple[str, int | None]
"""Setting and knotter; no knotter for what the machine has once."""


@dataclass(frozen=True)
class Findings:
    """All that one sheet says. `knowledge` holds the tolerances it was graded by."""

    sheet: Sheet
    knowledge: Knowledge
    knotters: int
    cells: dict[Cell, Adjustment | None]
    """Every cell the machine has, in the order of measuring; None where not measured."""
    asked: tuple[Slip, ...]
    """Cells left out because they look like a slip."""
    even: dict[str, Evenness]
    to_set: tuple[Cell, ...]
    """Out of their band, in the order to set them."""
    on_limit: tuple[Cell, ...]
    again: tuple[str, ...]
    """Settings to measure again once all is set."""

    def row(self, setting: str) -> dict[int | None, Adjustment | None]:
        """The cells of one setting by knotter."""
        return {k: found for (name, k), found in self.cells.items() if name == setting}

    @property
    def settings(self) -> dict[str, Setting]:
        """The settings that were measured somewhere, in the order of measuring."""
        seen = dict.fromkeys(name for (name, _), found in self.cells.items() if found)
        return {name: self.knowledge.settings[name] for name in seen}

    @property
    def not_measured(self) -> dict[str, list[int | None]]:
        """Setting -> the knotters where it is still to be measured."""
        missing: dict[str, list[int | None]] = {}
        asked = {slip.entry.key for slip in self.asked}
        for (name, knotter), found in self.cells.items():
            if found is None and (name, knotter) not in asked:
                missing.setdefault(name, []).append(knotter)
        return missing


def assess(sheet: Sheet, knowledge: Knowledge, machine: MachineFile | None) -> Findings:
    """Grade a sheet. Doubted cells are left out and told in `asked`."""
    graded_by = with_manual(knowledge, machine)
    asked = tuple(slips(sheet, graded_by))
    trusted = sheet.without({slip.entry.key for slip in asked})
    found = {
        entry.key: adjustment(graded_by.settings[entry.reading.setting], entry.reading, machine)
        for entry in trusted.entries
    }
    knotters = sheet.knotters or max((k or 0 for _, k in found), default=0)
    cells = {cell: found.get(cell) for cell in all_cells(graded_by, knotters)}
    out = {name for (name, _), a in cells.items() if a and a.wanted}
    order = setting_order(graded_by, out)
    return Findings(
        sheet=sheet,
        knowledge=graded_by,
        knotters=knotters,
        cells=cells,
        asked=asked,
        even=_even(graded_by, cells),
        to_set=tuple(
            cell
            for name in order
            for cell, a in cells.items()
            if cell[0] == name and a and a.wanted
        ),
        on_limit=tuple(cell for cell, a in cells.items() if a and a.on_limit),
        again=tuple(measure_again(graded_by, out)),
    )


def all_cells(knowledge: Knowledge, knotters: int) -> list[Cell]:
    """Every cell of a full sheet, in the order that costs fewest setup moves."""
    order, _ = measuring_order(knowledge, knowledge.settings)
    return [
        (name, knotter)
        for name in order
        for knotter in (
            range(1, knotters + 1) if knowledge.settings[name].per == "knotter" else [None]
        )
    ]


def _even(knowledge: Knowledge, cells: dict[Cell, Adjustment | None]) -> dict[str, Evenness]:
    rows: dict[str, dict[int, float]] = {}
    for (name, knotter), found in cells.items():
        if knotter is not None and found:
            rows.setdefault(name, {})[knotter] = found.value
    even = {name: evenness(row, knowledge.settings[name].gauge) for name, row in rows.items()}
    return {name: result for name, result in even.items() if result}


def cause_of(knowledge: Knowledge, found: Adjustment) -> Cause | None:
    """The cause behind a reading that is out, or would be if its limit is passed."""
    low = found.move > 0
    name = found.setting.too_low if low else found.setting.too_high
    return knowledge.causes[name] if name else None


def leads_to(knowledge: Knowledge, cause: Cause) -> list[str]:
    """Names of the mechanisms a cause leads to, the likeliest first."""
    strongest = sorted(cause.leads, key=lambda name: -knowledge.words[cause.leads[name]])
    return [knowledge.mechanisms[name].name for name in strongest]
