"""A sheet to fill in: CSV for a screen, one printable page for the clipboard.

Both are in the order that costs fewest setup moves.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

from diagnose.knowledge.model import Caution, Knowledge, Setting, Setup
from diagnose.machine.profile import MachineFile, with_manual
from diagnose.machine.tolerance import NOT_KNOWN
from diagnose.machine.units import shown
from diagnose.say.page import render
from diagnose.sheet.assess import all_cells
from diagnose.sheet.order import measuring_check, measuring_order, setup_for
from diagnose.sheet.rows import NEEDED


def blank_csv(knowledge: Knowledge, machine: MachineFile) -> str:
    """A CSV sheet with a row for each cell and no values; `read_sheet` reads it back."""
    out = io.StringIO()
    out.write(f"# machine: {machine.name}\n# date:\n# bales:\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*NEEDED, "uncertainty", "note"])
    for name, knotter in all_cells(knowledge, machine.knotters):
        writer.writerow([knotter or "", name, "", knowledge.settings[name].unit, "", ""])
    return out.getvalue()


@dataclass(frozen=True)
class _Block:
    """The settings measured in one setup."""

    setup: Setup
    settings: list[tuple[Setting, str, str]]
    """Setting, its tolerance, and the tool."""


def blank_page(knowledge: Knowledge, machine: MachineFile, *, inches: bool = False) -> str:
    """The same sheet as one HTML page, black and white, A4, that asks no network for anything."""
    knowledge = with_manual(knowledge, machine)
    order, minutes = measuring_order(knowledge, knowledge.settings)
    blocks: dict[str, _Block] = {}
    for name in order:
        setup, setting = setup_for(knowledge, name), knowledge.settings[name]
        check = measuring_check(knowledge, name)
        block = blocks.setdefault(setup, _Block(knowledge.setups[setup], []))
        block.settings.append((setting, _band(setting, inches), check.tool if check else ""))
    return render(
        "sheet/blank.html",
        machine=machine,
        blocks=blocks.values(),
        cautions=_cautions(knowledge, blocks),
        knotters=range(1, machine.knotters + 1),
        minutes=minutes,
        base=knowledge.base,
        not_known=NOT_KNOWN,
    )


def _band(setting: Setting, inches: bool) -> str:
    low, high = (shown(limit, setting.unit, inches=inches) for limit in setting.band)
    nominal = shown(setting.nominal, setting.unit, inches=inches).split()[0]
    return f"{nominal} ({low.split()[0]} to {high})"


def _cautions(knowledge: Knowledge, blocks: dict[str, _Block]) -> list[Caution]:
    wanted = dict.fromkeys(name for block in blocks.values() for name in block.setup.cautions)
    return [knowledge.cautions[name] for name in wanted]
