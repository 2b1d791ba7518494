"""From the frames of a bus log to events: a trouble code counts when it comes or comes again.

A controller repeats its active codes every second. One is an event when the message before
from the same source did not have it, or when its occurrence count has grown.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from diagnose.log import dm1
from diagnose.log.bus_files import frames
from diagnose.log.bus_lines import IGNORED
from diagnose.log.codes import IGNORED_BY_TABLE, CodeTable, Counter
from diagnose.log.event_blocks import events_of
from diagnose.log.rows import Row
from diagnose.log.source import Fault
from diagnose.log.tally import NOT_MAPPED, Tally
from diagnose.log.transport import Frame, Lost, Message, assemble

_NOTHING_NEW = "nothing new since the message before"


@dataclass
class _Reading:
    path: Path
    kind: str
    machine: str
    table: CodeTable
    tally: Tally
    bale: int | None = None
    active: dict[int, dict[tuple[int, int], int]] = field(default_factory=dict)
    rows: list[Row] = field(default_factory=list)

    def add(self, time: float, code: str, value: float | None = None) -> None:
        zone = None if self.kind == "asc" else UTC  # an ASC log tells the recorder's local time
        when = datetime.fromtimestamp(time, zone).replace(tzinfo=None)
        self.rows.append(Row(when, self.machine, self.bale, None, code, value))


def bus_events(
    path: Path, kind: str, machine: str, table: CodeTable, tally: Tally
) -> Iterator[pl.DataFrame]:
    """Events of one bus log. The books count frames, and lines that hold none.

    Codes stand in the table as `source/SPN/FMI`. Raises BusReaderMissingError.
    """
    reading = _Reading(path, kind, machine, table, tally)
    for message in assemble(_data_frames(reading)):
        if isinstance(message, Lost):
            tally.ignore("part of a multi-packet message that never came whole", message.frames)
        elif message.pgn == dm1.PGN:
            _take_codes(reading, message)
        elif _is_counter(table.own.bus.counter, message):
            _take_count(reading, message)
        else:
            tally.ignore("another message", message.frames)
    if reading.rows:
        yield events_of(reading.rows)


def _data_frames(reading: _Reading) -> Iterator[Frame]:
    tally = reading.tally
    for item in frames(reading.path, reading.kind):
        tally.read += 1
        if isinstance(item, Fault):
            if item.reason.startswith(IGNORED):
                tally.ignore(item.reason.removeprefix(IGNORED))
            else:
                tally.reject(reading.path, item.line, item.reason, item.raw)
        elif not item.plain:
            tally.ignore("remote or error frame")
        elif not item.extended:
            tally.ignore("a frame with an 11-bit identifier")
        else:
            yield item


def _take_codes(reading: _Reading, message: Message) -> None:
    tally, table = reading.tally, reading.table
    try:
        decoded = dm1.decode(message.data, table.own.bus.old_method.get(message.source))
    except ValueError as error:
        tally.reject(reading.path, message.line, str(error), message.data.hex().encode())
        return
    before = reading.active.get(message.source, {})
    now = {(c.spn, c.fmi): c.count or 0 for c in decoded.codes}
    reading.active[message.source] = now
    outcomes = [
        _take_code(reading, message, code)
        for code in decoded.codes
        if now[code.spn, code.fmi] > before.get((code.spn, code.fmi), -1)
    ]
    if not decoded.codes:
        tally.ignore("no fault", message.frames)
    elif not outcomes:
        tally.ignore(_NOTHING_NEW, message.frames)
    elif None not in outcomes:
        tally.ignore(next(reason for reason in outcomes if reason), message.frames)


def _take_code(reading: _Reading, message: Message, code: dm1.TroubleCode) -> str | None:
    """None when the code became an event, else why it did not."""
    name = f"{message.source}/{code.spn}/{code.fmi}"
    if code.conversion == 0:
        reading.tally.not_mapped(
            name, 1, code.raw, "old conversion method, and bus.old_method does not say which"
        )
        return NOT_MAPPED
    meaning = reading.table.bus_meaning(message.source, code.spn, code.fmi)
    if meaning is None:
        reading.tally.not_mapped(name, 1, code.raw)
        return NOT_MAPPED
    if meaning.ignore is not None:
        return IGNORED_BY_TABLE
    reading.add(message.time, name, code.count)
    return None


def _is_counter(counter: Counter | None, message: Message) -> bool:
    return (
        counter is not None
        and message.pgn == counter.pgn
        and counter.source in (None, message.source)
        and len(message.data) >= counter.first_byte - 1 + counter.bytes
    )


def _take_count(reading: _Reading, message: Message) -> None:
    counter = reading.table.own.bus.counter
    assert counter is not None
    start = counter.first_byte - 1
    raw = message.data[start : start + counter.bytes]
    count = int.from_bytes(raw, "little")
    if raw == b"\xff" * counter.bytes:
        reading.tally.ignore("bale count not available", message.frames)
    elif count == reading.bale or count >= 2**31:
        reading.tally.ignore(_NOTHING_NEW, message.frames)
    else:
        reading.bale = count
        reading.add(message.time, "bale")
