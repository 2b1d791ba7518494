"""A filled sheet from CSV, YAML or JSON. Every fault is told at once, with its line.

CSV has the columns knotter, setting, value, unit in any order, and if wanted uncertainty
and note; between them commas, semicolons or tabs. Lines such as `# date: 2026-04-14`
before the header say machine, date, bales (the counter) and knotters.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path

from diagnose.case import Reading
from diagnose.errors import InputError, Place, RuleBaseError, nearest
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.yaml_file import read_yaml
from diagnose.machine import MachineFile
from diagnose.sheet.model import Entry, Sheet
from diagnose.units import convert, parse_quantity

COLUMNS = ("knotter", "setting", "value", "unit", "uncertainty", "note")
NEEDED = ("knotter", "setting", "value", "unit")
HEAD = ("machine", "date", "bales", "knotters")
MOST_KNOTTERS = 12  # as in a case; more is a slip of the pen
BLANK = {"", "-", "–", "?", "n/a", "none"}
MEANT = "!"

Row = tuple[Mapping[str, str], Place]


def read_sheet(path: Path, knowledge: Knowledge, machine: MachineFile | None = None) -> Sheet:
    """Read one sheet. Raises InputError with every fault found in it."""
    faults: list[InputError] = []
    if path.suffix.lower() in (".yaml", ".yml", ".json"):
        head, rows = _yaml_rows(path, faults)
    else:
        head, rows = _csv_rows(path, faults)
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
        raise RuleBaseError(faults)
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


def _text(path: Path) -> str:
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", Place(path)) from None
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return raw.decode("utf-16", errors="replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        if b"\0" in raw:
            raise InputError("is no text; save it as CSV in UTF-8", Place(path)) from None
        return raw.decode("cp1252", errors="replace")  # what office programs save by default


def _csv_rows(path: Path, faults: list[InputError]) -> tuple[dict[str, Row], Iterator[Row]]:
    lines = _text(path).splitlines()
    head: dict[str, Row] = {}
    start = 0
    while start < len(lines) and (not lines[start].strip(",;\t ") or "#" in lines[start][:2]):
        key, colon, value = lines[start].strip('"#,;\t ').partition(":")
        if colon and key.strip().lower() in HEAD and value.strip():
            name = key.strip().lower()
            head[name] = ({name: value.strip()}, Place(path, start + 1))
        start += 1
    if start == len(lines):
        raise InputError(f"no header line; it must name {', '.join(NEEDED)}", Place(path))
    delimiter = max(",;\t", key=lines[start].count)
    columns = [cell.strip().strip('"').lower() for cell in lines[start].split(delimiter)]
    header = Place(path, start + 1)
    for name in columns:
        if name and name not in COLUMNS:
            faults.append(InputError(f"unknown column '{name}'{nearest(name, COLUMNS)}", header))
    missing = [name for name in NEEDED if name not in columns]
    if missing or len(set(filter(None, columns))) < len(list(filter(None, columns))):
        what = f"no column '{missing[0]}'" if missing else "a column stands twice"
        faults.append(InputError(f"{what}; the header must name {', '.join(NEEDED)}", header))
        raise RuleBaseError(faults)
    return head, _table(path, lines[start + 1 :], start + 1, columns, delimiter, faults)


def _table(
    path: Path,
    lines: list[str],
    before: int,
    columns: list[str],
    delimiter: str,
    faults: list[InputError],
) -> Iterator[Row]:
    reader = csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter)
    try:
        for cells in reader:
            place = Place(path, before + reader.line_num)
            if not any(cell.strip() for cell in cells) or cells[0].startswith("#"):
                continue
            if len(cells) > len(columns) and any(cells[len(columns) :]):
                what = f"{len(cells)} cells, but the header names {len(columns)} columns"
                hint = "; a decimal comma needs quotes, or ; between the cells"
                faults.append(InputError(what + (hint if delimiter == "," else ""), place))
                continue
            yield dict(zip(columns, cells, strict=False)), place
    except csv.Error as error:
        faults.append(InputError(f"cannot be read: {error}", Place(path, before + reader.line_num)))


def _yaml_rows(path: Path, faults: list[InputError]) -> tuple[dict[str, Row], Iterator[Row]]:
    document = read_yaml(path)
    faults += document.faults
    if not isinstance(document.data, dict) or not isinstance(document.data.get("readings"), list):
        raise InputError("should hold 'readings:' and a list below it", Place(path, 1))
    head: dict[str, Row] = {}
    for key, value in document.data.items():
        place = document.place((key,))
        if key in HEAD:
            head[key] = ({key: str(value)}, place)
        elif key != "readings":
            near = nearest(str(key), [*HEAD, "readings"])
            faults.append(InputError(f"unknown key '{key}'{near}", place))

    def rows() -> Iterator[Row]:
        for index, item in enumerate(document.data["readings"]):
            place = document.place(("readings", index))
            if not isinstance(item, dict):
                faults.append(InputError("a reading has setting, knotter, value and unit", place))
                continue
            for key in item:
                if key not in COLUMNS:
                    near = nearest(str(key), COLUMNS)
                    faults.append(InputError(f"unknown key '{key}'{near}", place))
            yield {str(k): "" if v is None else str(v) for k, v in item.items()}, place

    return head, rows()
