"""From a file to rows of cells by column name: CSV, YAML or JSON, or a saved case.

CSV has the columns knotter, setting, value, unit in any order, and if wanted uncertainty
and note; between them commas, semicolons or tabs. Lines such as `# date: 2026-04-14`
before the header say machine, date, bales (the counter) and knotters. YAML and JSON hold
the same names, the rows under `readings`. Of a saved case the readings are taken.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from diagnose.errors import InputError, InputFaultsError, Place, nearest
from diagnose.knowledge.yaml_file import Document, read_yaml

COLUMNS = ("knotter", "setting", "value", "unit", "uncertainty", "note")
NEEDED = ("knotter", "setting", "value", "unit")
HEAD = ("machine", "date", "bales", "knotters")

Row = tuple[Mapping[str, str], Place]


def rows_of(path: Path, faults: list[InputError]) -> tuple[dict[str, Row], Iterator[Row]]:
    """The head of a sheet by key, and its rows. What is wrong with single rows goes to `faults`.

    Raises InputError where the file as a whole is no sheet.
    """
    if path.suffix.lower() not in (".yaml", ".yml", ".json"):
        return _csv_rows(path, faults)
    document = read_yaml(path)
    faults += document.faults
    data = document.data
    if isinstance(data, dict) and isinstance(data.get("events"), list):
        return _case_head(document), _case_rows(document)
    if isinstance(data, dict) and isinstance(data.get("readings"), list):
        return _yaml_head(document, faults), _yaml_rows(document, faults)
    raise InputError("should hold 'readings:' and a list below it", Place(path, 1))


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
        raise InputFaultsError(faults)
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


def _yaml_head(document: Document, faults: list[InputError]) -> dict[str, Row]:
    head: dict[str, Row] = {}
    for key, value in document.data.items():
        place = document.place((key,))
        if key in HEAD:
            head[key] = ({key: str(value)}, place)
        elif key != "readings":
            near = nearest(str(key), [*HEAD, "readings"])
            faults.append(InputError(f"unknown key '{key}'{near}", place))
    return head


def _yaml_rows(document: Document, faults: list[InputError]) -> Iterator[Row]:
    for index, item in enumerate(document.data["readings"]):
        place = document.place(("readings", index))
        if not isinstance(item, dict):
            faults.append(InputError("a reading has setting, knotter, value and unit", place))
            continue
        for key in item:
            if key not in COLUMNS:
                near = nearest(str(key), COLUMNS)
                faults.append(InputError(f"unknown key '{key}'{near}", place))
        yield _cells(item), place


def _case_head(document: Document) -> dict[str, Row]:
    """What a saved case says of its machine and its day."""
    data, machine = document.data, document.data.get("machine")
    machine = machine if isinstance(machine, dict) else {}
    known = {
        "machine": machine.get("name"),
        "knotters": machine.get("knotters"),
        "date": str(data["opened"])[:10] if data.get("opened") else None,
    }
    place = document.place(("machine",))
    return {key: ({key: str(value)}, place) for key, value in known.items() if value is not None}


def _case_rows(document: Document) -> Iterator[Row]:
    """The readings of a saved case; where a cell was measured again the last one counts."""
    last: dict[tuple[str, str], Row] = {}
    for index, event in enumerate(document.data["events"]):
        if isinstance(event, dict) and event.get("kind") == "reading":
            cells = _cells({key: event.get(key) for key in COLUMNS})
            place = document.place(("events", index))
            last[cells["setting"], cells["knotter"]] = (cells, place)
    return iter(last.values())


def _cells(item: Mapping[Any, Any]) -> dict[str, str]:
    return {str(key): "" if value is None else str(value) for key, value in item.items()}
