"""A filled sheet, each cell checked. Every fault is told at once, with its line."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path

from diagnose.case import Reading
from diagnose.errors import InputError, InputFaultsError, Place, nearest
from diagnose.knowledge.model import Knowledge
from diagnose.machine.profile import MachineFile
from diagnose.machine.units import convert, parse_quantity
from diagnose.sheet.model import Entry, Sheet
from diagnose.sheet.rows import Row, rows_of

MOST_KNOTTERS = 12  # as in a case; more is a slip of the pen
BLANK = {"", "-", "–", "?", "n/a", "none"}
MEANT = "!"


def read_sheet(path: Path, knowledge: Knowledge, machine: MachineFile | None = None) -> Sheet:
    """Read one sheet. Raises InputError with every fault found in it."""
    faults: list[InputError] = []
    head, rows = rows_of(path, faults)
    known = _Known(knowledge, machine, head, faults)
    entries: dict[tuple[str, int | None], Entry] = {}
    for cells, place in rows:
        try:
            entry = _entry(cells, place, known)
        except InputError as error:
            faults.append(error if error.place else InputError(error.what, place))
            continue
        if entry is None:
            continue
        if entry.key in entries:
            first = entries[entry.key].place.line
            what = f"{known.cell(entry)} stands twice, first on line {first}; keep one"
            faults.append(InputError(what, place))
        entries[entry.key] = entry
    if faults:
        raise InputFaultsError(faults)
    return Sheet(
        path=path,
        entries=tuple(entries.values()),
        machine=known.name,
        date=known.date,
        bales=known.bales,
        knotters=known.knotters,
    )


class _Known:
    """What the head of the sheet, the rule base and the machine file say together."""

    def __init__(
        self,
        knowledge: Knowledge,
        machine: MachineFile | None,
        head: Mapping[str, Row],
        faults: list[InputError],
    ) -> None:
        self.knowledge = knowledge
        self.names = {s.name.lower(): name for name, s in knowledge.settings.items()}
        self.faults = faults
        self.name = head["machine"][0]["machine"] if "machine" in head else None
        self.date = self._date(head)
        self.bales = self._count(head, "bales")
        self.knotters = machine.knotters if machine else self._count(head, "knotters")
        if machine and self.name and self.name.lower() != machine.name.lower():
            what = f"this is a sheet of '{self.name}', the machine file is of '{machine.name}'"
            faults.append(InputError(what, head["machine"][1]))
        if machine:
            self.name = machine.name

    def _count(self, head: Mapping[str, Row], key: str) -> int | None:
        if key not in head:
            return None
        cells, place = head[key]
        plain = cells[key].replace(" ", "").replace("\u00a0", "")
        most = MOST_KNOTTERS if key == "knotters" else 10**9
        if plain.isdecimal() and 0 <= int(plain[:20]) <= most:
            return int(plain)
        self.faults.append(InputError(f"{key}: '{cells[key]}' is no likely count", place))
        return None

    def _date(self, head: Mapping[str, Row]) -> date | None:
        if "date" not in head:
            return None
        cells, place = head["date"]
        try:
            return date.fromisoformat(cells["date"])
        except ValueError:
            what = f"date: '{cells['date']}' is no date; write 2026-04-14"
            self.faults.append(InputError(what, place))
            return None

    def setting(self, text: str) -> str:
        """The id of the setting a person names by its id or its name."""
        plain = text.lower()
        if plain in self.knowledge.settings:
            return plain
        if plain in self.names:
            return self.names[plain]
        near = nearest(plain, [*self.knowledge.settings, *self.names])
        raise InputError(f"there is no setting '{text}'{near}")

    def cell(self, entry: Entry) -> str:
        name, knotter = entry.key
        where = f" at knotter {knotter}" if knotter else ""
        return f"{self.knowledge.settings[name].name}{where}"


def _entry(cells: Mapping[str, str], place: Place, known: _Known) -> Entry | None:
    """One row as an entry; None where it was not measured."""
    text = cells.get("value", "").strip()
    meant = text.endswith(MEANT)
    text = text.removesuffix(MEANT).strip()
    if not cells.get("setting", "").strip() and text.lower() in BLANK:
        return None
    name = known.setting(cells.get("setting", "").strip())
    setting = known.knowledge.settings[name]
    knotter = _knotter(cells.get("knotter", "").strip(), setting.per, known)
    if text.lower() in BLANK:
        return None
    column = cells.get("unit", "").strip() or None
    value, unit = parse_quantity(text, column)
    convert(value, unit, setting.unit)
    spread = None
    if (stated := cells.get("uncertainty", "").strip().lstrip("±").strip()).lower() not in BLANK:
        size, of = parse_quantity(stated, unit)
        spread = convert(size, of, unit)
        if spread <= 0:
            raise InputError(f"an uncertainty of {stated} cannot be; leave it blank or write 0.2")
    reading = Reading(setting=name, value=value, unit=unit, knotter=knotter, uncertainty=spread)
    return Entry(reading, place, meant)


def _knotter(text: str, per: str, known: _Known) -> int | None:
    if per == "machine":
        if text.lower() not in BLANK:
            raise InputError("this setting is one for the whole machine; leave the knotter blank")
        return None
    if text.lower() in BLANK:
        raise InputError("which knotter? Number them from 1")
    if not text.isdecimal() or int(text) == 0:
        raise InputError(f"'{text}' is no knotter; number them from 1")
    if int(text) > MOST_KNOTTERS:
        raise InputError(f"knotter {text[:20]}: a machine has {MOST_KNOTTERS} at most")
    if known.knotters and int(text) > known.knotters:
        raise InputError(f"knotter {text}, but this machine has {known.knotters}")
    return int(text)
