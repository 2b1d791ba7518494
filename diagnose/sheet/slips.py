"""Cells of a sheet that look like a slip of the pen, to be asked back."""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.knowledge.model import Knowledge
from diagnose.machine.slips import likely_meant
from diagnose.sheet.model import Entry, Sheet


@dataclass(frozen=True)
class Slip:
    """A doubted cell, and what may be meant, in the unit it was written in."""

    entry: Entry
    meant: float
    why: str


def slips(sheet: Sheet, knowledge: Knowledge) -> list[Slip]:
    """The cells to ask back, in the order of the sheet; those marked `!` are taken as meant."""
    found = []
    for entry in sheet.entries:
        setting = knowledge.settings[entry.reading.setting]
        meant = None if entry.meant else likely_meant(setting, entry.reading)
        if meant:
            found.append(Slip(entry, *meant))
    return found
