"""Reads one line of a table of events, and says in words what is wrong with it.

The careful way, for the few lines that the fast way over whole blocks has doubts about;
both accept the same values (a test holds them together).
"""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, NamedTuple

COLUMNS = ("time", "machine", "bale", "knotter", "code", "value")
MOST_KNOTTERS = 12
LARGEST_COUNT = 2**31 - 1
LONGEST_NAME = 200
DIGITS_OF_A_DAY = 8
"""More digits and nothing else count seconds or milliseconds; some would pass for a date of
another century."""


class Row(NamedTuple):
    """One event. `time` without zone: UTC where the log gave a zone, else as logged."""

    time: datetime
    machine: str
    bale: int | None
    knotter: int | None
    code: str
    value: float | None


@dataclass(frozen=True)
class NotAnEvent:
    """A line that gives no event; `rejected` False: it is no event by its nature."""

    reason: str
    rejected: bool = True


@dataclass(frozen=True)
class Layout:
    """How the columns of a CSV file lie, or the names of a JSON line's keys."""

    names: tuple[str, ...]
    """Column names of the file as they stand there; for JSON lines empty."""
    columns: Mapping[str, str]
    """Our name -> name in the file."""
    separator: str = ","
    machine: str | None = None
    """Machine of events that name none; None: such an event is rejected."""
    knotters: int = MOST_KNOTTERS
    knotters_of: Mapping[str, int] = field(default_factory=dict)

    def most_knotters(self, machine: str) -> int:
        return self.knotters_of.get(machine, self.knotters)


def decode(raw: bytes) -> str:
    """UTF-8, or where it is not, Windows-1252, which older displays and spreadsheets write."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("cp1252", "replace")


def csv_row(raw: bytes, layout: Layout) -> Row | NotAnEvent:
    """One line of CSV."""
    text = decode(raw).strip("\r\n")
    if not text.strip():
        return NotAnEvent("blank line", rejected=False)
    try:
        [fields] = csv.reader([text], delimiter=layout.separator, strict=True)
    except (csv.Error, ValueError):
        return NotAnEvent("quotes that do not close")
    if tuple(field.strip() for field in fields) == layout.names:
        return NotAnEvent("heading repeated", rejected=False)
    if len(fields) != len(layout.names):
        return NotAnEvent(f"{len(fields)} fields where the heading names {len(layout.names)}")
    by_name = dict(zip(layout.names, fields, strict=True))
    return row_of({c: by_name[name] for c, name in layout.columns.items()}, layout)


def json_row(raw: bytes, layout: Layout) -> Row | NotAnEvent:
    """One JSON line."""
    text = decode(raw).strip()
    if not text:
        return NotAnEvent("blank line", rejected=False)
    try:
        record = json.loads(text)
    except (ValueError, RecursionError) as error:
        return NotAnEvent(f"not JSON: {getattr(error, 'msg', 'nested too deep')}")
    if not isinstance(record, dict):
        return NotAnEvent("not a JSON object")
    return row_of({c: record.get(name) for c, name in layout.columns.items()}, layout)


def row_of(fields: Mapping[str, Any], layout: Layout) -> Row | NotAnEvent:
    """The event of these fields (text, or what JSON or Parquet gave), or what is wrong."""
    cells = {name: _text(value) for name, value in fields.items()}
    name = cells.get("machine", "") or layout.machine or ""
    try:
        row = Row(
            time=_time(cells.get("time", "")),
            machine=_named(name, "machine name"),
            bale=_count(cells.get("bale", "")),
            knotter=_knotter(cells.get("knotter", "")),
            code=_named(cells.get("code", ""), "code"),
            value=_value(cells.get("value", "")),
        )
    except ValueError as error:
        return NotAnEvent(str(error))
    most = layout.most_knotters(row.machine)
    if row.knotter is not None and row.knotter > most:
        return NotAnEvent(f"knotter {row.knotter} on a machine of {most} knotters")
    return row


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _time(text: str) -> datetime:
    if text.isdigit() and len(text) > DIGITS_OF_A_DAY:
        raise ValueError(
            f"time '{text[:40]}' is a bare number; write it as a date and time like "
            "2026-07-21T14:03:00"
        )
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        shown = f"time '{text[:40]}' is not" if text else "no time; wanted is"
        raise ValueError(f"{shown} a date and time like 2026-07-21T14:03:00") from None
    return time.astimezone(UTC).replace(tzinfo=None) if time.tzinfo else time


def _named(text: str, what: str) -> str:
    if not text:
        raise ValueError(f"no {what}")
    if len(text) > LONGEST_NAME or not text.isprintable():
        raise ValueError(f"{what} is longer than {LONGEST_NAME} characters or not printable")
    return text


def _whole(text: str) -> int | None:
    try:
        return int(text)
    except ValueError:
        pass
    try:
        number = float(text)
        return int(number) if number.is_integer() else None
    except (ValueError, OverflowError):
        return None


def _count(text: str) -> int | None:
    if not text:
        return None
    number = _whole(text)
    if number is None or not 0 <= number <= LARGEST_COUNT:
        raise ValueError(f"bale count '{text[:40]}' is not a whole number of 0 or more")
    return number


def _knotter(text: str) -> int | None:
    if text in ("", "-"):
        return None
    number = _whole(text)
    if number is None or not 1 <= number <= MOST_KNOTTERS:
        raise ValueError(f"knotter '{text[:40]}' is not a number from 1 to {MOST_KNOTTERS}")
    return number


def _value(text: str) -> float | None:
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise ValueError(f"value '{text[:40]}' is not a number") from None
