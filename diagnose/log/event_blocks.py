"""Whole blocks of events at once, in polars; lines in doubt go the careful way of `rows`.

A block is read with every name as text. When it has as many rows as lines and as many
separators as its columns ask for, each row is its line, and only rows with an empty or
unreadable cell are looked at again. Otherwise the block is halved until the trouble is small.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field

import polars as pl

from diagnose.log.rows import (
    LARGEST_COUNT,
    LONGEST_NAME,
    MOST_KNOTTERS,
    Layout,
    NotAnEvent,
    Row,
    csv_row,
    json_row,
    row_of,
)
from diagnose.log.source import count_byte

EVENTS = pl.Schema(
    {
        "time": pl.Datetime("ms"),
        "machine": pl.Categorical(),
        "bale": pl.Int32(),
        "knotter": pl.UInt8(),
        "code": pl.Categorical(),
        "value": pl.Float32(),
    }
)
"""A table of events: 21 bytes each."""
_RAW = {
    "time": pl.String(),
    "machine": pl.Categorical(),
    "bale": pl.String(),
    "knotter": pl.String(),
    "code": pl.Categorical(),
    "value": pl.String(),
}
SMALLEST = 4096
"""Bytes below which a block with trouble is read line by line instead of halved."""
_TIMES = ("%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%d %H:%M:%S%.f")
_ZONED = "%Y-%m-%dT%H:%M:%S%.f%#z"

Reader = Callable[[bytes, Layout, int], pl.DataFrame]
LineReader = Callable[[bytes, Layout], Row | NotAnEvent]


@dataclass
class Parsed:
    """What a stretch of a file gave. lines = rows of `events` + ignored + rejects."""

    lines: int = 0
    events: list[pl.DataFrame] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)
    rejects: list[tuple[int, str, bytes]] = field(default_factory=list)

    def leave_out(self, line: int, why: NotAnEvent, raw: bytes) -> None:
        if why.rejected:
            self.rejects.append((line, why.reason, raw))
        else:
            self.ignored.append(why.reason)

    def add(self, other: Parsed) -> None:
        self.lines += other.lines
        self.events += other.events
        self.ignored += other.ignored
        self.rejects += other.rejects


def parse_csv(data: bytes, first_line: int, layout: Layout) -> Parsed:
    """A block of whole CSV lines, without the heading."""
    return _parse(data, first_line, layout, _csv_frame, csv_row)


def parse_json(data: bytes, first_line: int, layout: Layout) -> Parsed:
    """A block of whole JSON lines."""
    return _parse(data, first_line, layout, _json_frame, json_row)


def _parse(
    data: bytes, first_line: int, layout: Layout, read: Reader, read_line: LineReader
) -> Parsed:
    lines = count_byte(data, 10) + (not data.endswith(b"\n"))
    # What polars cannot take in as a block, whatever the reason, is read in smaller ones.
    with suppress(pl.exceptions.PolarsError, pl.exceptions.PanicException):
        frame = read(data, layout, lines)
        if frame.height == lines:
            return _from_frame(frame, data, first_line, layout, read_line)
    middle = data.find(b"\n", len(data) // 2) + 1
    if len(data) <= SMALLEST or not 0 < middle < len(data):
        return _line_by_line(data.splitlines(keepends=True), first_line, layout, read_line)
    parsed = _parse(data[:middle], first_line, layout, read, read_line)
    half = parsed.lines
    parsed.add(_parse(data[middle:], first_line + half, layout, read, read_line))
    return parsed


def parse_table(frame: pl.DataFrame, first_row: int, layout: Layout) -> Parsed:
    """Rows that have come with types of their own (Parquet), by our column names."""
    text = frame.select(_as_raw(frame.schema[name], name) for name in frame.columns)
    events, doubted = _typed(text, layout)
    parsed, at, rows = Parsed(frame.height), [], []
    for index in doubted.arg_true().to_list():
        row = row_of(frame.row(index, named=True), layout)
        if isinstance(row, Row):
            at.append(index)
            rows.append(row)
        else:
            parsed.leave_out(first_row + index, row, str(frame.row(index)).encode())
    parsed.events = [_put_back(events, doubted, at, rows)]
    return parsed


def _as_raw(dtype: pl.DataType, name: str) -> pl.Expr:
    column, wanted = pl.col(name), _RAW[name]
    if name == "time" and dtype.is_temporal():
        zoned = isinstance(dtype, pl.Datetime) and dtype.time_zone
        return column.dt.convert_time_zone("UTC").dt.replace_time_zone(None) if zoned else column
    if wanted == pl.Categorical():
        return column.cast(pl.String, strict=False).cast(wanted)
    return column.cast(wanted, strict=False)


def _csv_frame(data: bytes, layout: Layout, lines: int) -> pl.DataFrame:
    """Rows of a block by our column names. Raises PolarsError when fields are not as many."""
    ours = {name: column for column, name in layout.columns.items()}
    schema = {name: _RAW[ours[name]] if name in ours else pl.String() for name in layout.names}
    separators = len(layout.names) - 1
    if count_byte(data, ord(layout.separator)) != lines * separators:
        raise pl.exceptions.ShapeError("not every line has every field")
    frame = pl.read_csv(
        data,
        has_header=False,
        schema=schema,
        separator=layout.separator,
        ignore_errors=True,
        truncate_ragged_lines=True,
    )
    return frame.select(pl.col(name).alias(column) for column, name in layout.columns.items())


def _json_frame(data: bytes, layout: Layout, _lines: int) -> pl.DataFrame:
    schema = {name: _RAW[column] for column, name in layout.columns.items()}
    text = {name: pl.String() if t == pl.Categorical() else t for name, t in schema.items()}
    frame = pl.read_ndjson(data, schema=text, ignore_errors=True)
    return frame.select(
        pl.col(name).cast(_RAW[column]).alias(column) for column, name in layout.columns.items()
    )


def _from_frame(
    frame: pl.DataFrame, data: bytes, first_line: int, layout: Layout, read_line: LineReader
) -> Parsed:
    events, doubted = _typed(frame, layout)
    if not doubted.any():
        return Parsed(events.height, [events])
    lines = data.split(b"\n")
    parsed, at, rows = Parsed(frame.height), [], []
    for index in doubted.arg_true().to_list():
        row = read_line(lines[index], layout)
        if isinstance(row, Row):
            at.append(index)
            rows.append(row)
        else:
            parsed.leave_out(first_line + index, row, lines[index])
    parsed.events = [_put_back(events, doubted, at, rows)]
    return parsed


def _put_back(
    events: pl.DataFrame, doubted: pl.Series, at: list[int], rows: list[Row]
) -> pl.DataFrame:
    """The events not in doubt, and those read the careful way, in the order of the file."""
    kept = events.with_row_index("at").filter(~doubted)
    index = pl.Series("at", at, dtype=kept.schema["at"])
    careful = events_of(rows).insert_column(0, index)
    return pl.concat([kept, careful]).sort("at").drop("at")


def _typed(frame: pl.DataFrame, layout: Layout) -> tuple[pl.DataFrame, pl.Series]:
    """Events of a raw table, and which of its rows are in doubt (True)."""
    columns = {name: frame[name] for name in frame.columns}
    height = frame.height
    missing = pl.Series([None], dtype=pl.String).new_from_index(0, height)
    time = _times(columns.get("time", missing))
    named = columns.get("machine")
    if named is None:
        named = pl.Series([layout.machine], dtype=pl.Categorical).new_from_index(0, height)
    bale_text = columns.get("bale", missing)
    bale = bale_text.cast(pl.Int64, strict=False)
    code = columns["code"]
    knotter, strange_knotter = _knotters(columns.get("knotter", missing))
    value, strange_value = _values(columns.get("value", missing))
    doubted = time.is_null() | named.is_null() | code.is_null() | strange_knotter | strange_value
    doubted |= bale_text.is_not_null() & ~bale.is_between(0, LARGEST_COUNT).fill_null(False)
    for names in (named, code):
        doubted |= _strange_names(names)
    events = pl.DataFrame(
        {
            "time": time,
            "machine": named,
            "bale": bale.cast(pl.Int32, strict=False),
            "knotter": knotter,
            "code": code,
            "value": value,
        }
    )
    return events, doubted | _too_many(events, layout)


def _too_many(events: pl.DataFrame, layout: Layout) -> pl.Series:
    """Where the knotter's number is above those its machine has."""
    most = events["knotter"].max()
    if not isinstance(most, int) or most <= min([layout.knotters, *layout.knotters_of.values()]):
        return pl.Series([False]).new_from_index(0, events.height)
    machines = events["machine"].unique().drop_nulls().cast(pl.String).to_list()
    limits = {machine: layout.most_knotters(machine) for machine in machines}
    limit = events["machine"].cast(pl.String).replace_strict(limits, return_dtype=pl.UInt8)
    return (events["knotter"] > limit).fill_null(False)


def _times(text: pl.Series) -> pl.Series:
    if text.dtype != pl.String:
        return text.cast(EVENTS["time"], strict=False)
    time = text.str.to_datetime(_TIMES[0], time_unit="ms", strict=False, cache=False)
    for form in (*_TIMES[1:], _ZONED):
        if not time.null_count():
            break
        zone = "UTC" if form == _ZONED else None
        more = text.str.to_datetime(form, time_unit="ms", time_zone=zone, strict=False)
        time = time.fill_null(more.dt.replace_time_zone(None))
    return time


def _knotters(text: pl.Series) -> tuple[pl.Series, pl.Series]:
    """Knotters as numbers, and where the cell holds something that is none."""
    number = text.cast(pl.UInt8, strict=False)
    return number, text.is_not_null() & ~number.is_between(1, MOST_KNOTTERS).fill_null(False)


def _values(text: pl.Series) -> tuple[pl.Series, pl.Series]:
    if text.null_count() == len(text):
        return text.cast(pl.Float32), pl.Series([False]).new_from_index(0, len(text))
    value = text.cast(pl.Float32, strict=False)
    return value, value.is_null() & text.is_not_null()


def _strange_names(names: pl.Series) -> pl.Series:
    """Where a name is empty, padded, too long or not printable: rare, so told by distinct name."""
    distinct = names.unique().drop_nulls().cast(pl.String).to_list()
    strange = [
        name
        for name in distinct
        if not name or name != name.strip() or len(name) > LONGEST_NAME or not name.isprintable()
    ]
    if not strange:
        return pl.Series([False]).new_from_index(0, len(names))
    return names.cast(pl.String).is_in(strange).fill_null(False)


def _line_by_line(
    lines: Iterable[bytes], first_line: int, layout: Layout, read_line: LineReader
) -> Parsed:
    parsed, rows = Parsed(), []
    for number, raw in enumerate(lines, first_line):
        parsed.lines += 1
        row = read_line(raw, layout)
        if isinstance(row, Row):
            rows.append(row)
        else:
            parsed.leave_out(number, row, raw)
    if rows:
        parsed.events.append(events_of(rows))
    return parsed


def events_of(rows: list[Row]) -> pl.DataFrame:
    """Rows as a table of events."""
    clean = [row._replace(time=row.time.replace(microsecond=0)) for row in rows]
    return pl.DataFrame(clean, schema=EVENTS, orient="row") if clean else EVENTS.to_frame()
