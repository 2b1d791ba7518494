"""A sheet as evidence for a question session: its readings as events of a case."""

from __future__ import annotations

from pathlib import Path

from diagnose.case import Reading
from diagnose.knowledge.model import Knowledge
from diagnose.machine.profile import MachineFile, with_manual
from diagnose.sheet.read import read_sheet
from diagnose.sheet.slips import Slip, slips


def sheet_readings(
    path: Path, knowledge: Knowledge, machine: MachineFile | None = None
) -> tuple[tuple[Reading, ...], tuple[Slip, ...]]:
    """The readings of a sheet, and the cells left out because they look like a slip.

    Raises InputError with every fault of the sheet.
    """
    sheet = read_sheet(path, knowledge, machine)
    doubted = tuple(slips(sheet, with_manual(knowledge, machine)))
    return sheet.without({slip.entry.key for slip in doubted}).readings, doubted
