"""Reads event files of any kind into tables of events, and keeps the books while at it."""

from __future__ import annotations

import csv
import hashlib
import json
import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from diagnose.log.bus_events import bus_events
from diagnose.log.bus_lines import kind_of
from diagnose.log.codes import CodeTable
from diagnose.log.event_blocks import Parsed, parse_csv, parse_json, parse_table
from diagnose.log.rows import COLUMNS, Layout, decode
from diagnose.log.source import Fault, Progress, blocks, start_of
from diagnose.log.tally import MOST, TWICE, MostlyRejected, Reject, Tally

BLOCKS_AT_ONCE = 3
"""Blocks in memory at once; polars itself uses every core inside a block."""
PARQUET_ROWS = 1 << 20
ALSO_CALLED: dict[str, tuple[str, ...]] = {
    "time": ("time", "timestamp", "datetime"),
    "machine": ("machine", "baler"),
    "bale": ("bale", "bale_count", "bales"),
    "knotter": ("knotter",),
    "code": ("code", "fault_code", "event"),
    "value": ("value",),
}
Parser = Callable[[bytes, int, Layout], Parsed]


@dataclass(frozen=True)
class Wanted:
    """What is known beforehand: the code table, the machines, how columns are called."""

    table: CodeTable
    knotters: int = 6
    machine: str | None = None
    """Machine of files that name none; else the file's own name."""
    columns: Mapping[str, str] = field(default_factory=dict)
    """Our column name -> the file's, where it is none of those known."""

    @property
    def knotters_of(self) -> dict[str, int]:
        return {name: machine.knotters for name, machine in self.table.own.machines.items()}

    def table_knotters(self, machine: str) -> int:
        return self.knotters_of.get(machine, self.knotters)

    def layout(
        self, path: Path, keys: tuple[str, ...], names: tuple[str, ...], separator: str = ","
    ) -> Layout | str:
        """Where our columns are among a file's keys, or what is missing."""
        lower = {key.strip().lower(): key for key in reversed(keys)}
        columns = {}
        for column in COLUMNS:
            wanted = [self.columns[column]] if column in self.columns else ALSO_CALLED[column]
            found = next((lower[w.lower()] for w in wanted if w.lower() in lower), None)
            if found is not None:
                columns[column] = found
        missing = [column for column in ("time", "code") if column not in columns]
        if missing:
            return (
                f"no column '{missing[0]}'; wanted are {', '.join(COLUMNS)}; "
                f"--column {missing[0]}=NAME says how the file calls it"
            )
        stem = re.sub(r"\.(gz|zst)$", "", path.name).rpartition(".")[0] or path.name
        machine = self.machine if "machine" in columns else self.machine or stem
        return Layout(names, columns, separator, machine, self.knotters, self.knotters_of)


def read_events(
    paths: Iterable[Path], wanted: Wanted, tally: Tally, progress: Progress | None = None
) -> Iterator[pl.DataFrame]:
    """Tables of events (see EVENTS), file after file; `tally` is filled on the way."""
    bus_digests: set[bytes] = set()
    for path in paths:
        yield from _judged(path, _one_file(path, wanted, tally, progress, bus_digests), tally)


def _judged(path: Path, tables: Iterator[pl.DataFrame], tally: Tally) -> Iterator[pl.DataFrame]:
    """The tables of one file; most of its lines rejected is noted, with the machines it named."""
    read, rejected, machines = tally.read, tally.rejected, set[str]()
    for events in tables:
        yield events
        if tally.rejected > rejected:
            machines |= {str(name) for name in events["machine"].unique()}
    lost, lines = tally.rejected - rejected, tally.read - read
    if lost > MOST * lines:
        not_kept = Reject(str(path), 1, "more lines were rejected than are kept")
        first = next((r for r in tally.rejects if r.file == str(path)), not_kept)
        tally.mostly_rejected.append(MostlyRejected(str(path), lost, lines, first))
        tally.doubted |= machines


def _one_file(
    path: Path,
    wanted: Wanted,
    tally: Tally,
    progress: Progress | None,
    bus_digests: set[bytes],
) -> Iterator[pl.DataFrame]:
    read, used, rejected = tally.read, tally.used, tally.rejected
    start = start_of(path)
    kind = _kind(start, path)
    if kind == "parquet":
        yield from _parquet(path, wanted, tally)
    elif kind == "json":
        yield from _json(path, start, wanted, tally, progress)
    elif kind == "csv":
        yield from _csv(path, start, wanted, tally, progress)
    else:
        tables = list(bus_events(path, kind, _bus_machine(path, wanted), wanted.table, tally))
        digest = hashlib.sha256(path.read_bytes()).digest()
        if digest in bus_digests:
            tally.ignore(TWICE, tally.used - used)
        else:
            bus_digests.add(digest)
            yield from tables
    if progress and kind not in ("csv", "json"):
        progress(path.stat().st_size)
    if tally.rejected - rejected == tally.read - read:
        tally.unreadable.append(str(path))


def _kind(start: bytes, path: Path) -> str:
    if start.startswith(b"PAR1"):
        return "parquet"
    if start.lstrip()[:1] in (b"{", b"["):
        return "json"
    heading = start.split(b"\n", 1)[0]
    return (None if re.search(rb"[,;\t]", heading) else kind_of(start, path)) or "csv"


def _bus_machine(path: Path, wanted: Wanted) -> str:
    return wanted.machine or re.sub(r"\.(gz|zst)$", "", path.name).rpartition(".")[0]


def _csv(
    path: Path, start: bytes, wanted: Wanted, tally: Tally, progress: Progress | None
) -> Iterator[pl.DataFrame]:
    heading = decode(start.split(b"\n", 1)[0]).strip()
    separator = max(",;\t", key=heading.count)
    try:
        fields = next(csv.reader([heading], delimiter=separator), [])
    except csv.Error:
        _unreadable(path, "the heading is no line of text; is this a log?", start[:80], tally)
        return
    names = tuple(name.strip() for name in fields)
    layout = wanted.layout(path, names, names, separator)
    if isinstance(layout, str) or len(set(names)) < len(names):
        reason = layout if isinstance(layout, str) else "a column name stands twice in the heading"
        _unreadable(path, reason, heading.encode(), tally)
        return
    if "bale" not in layout.columns:
        tally.note(f"{path}: no column 'bale', so no rates from this file")
    yield from _text(path, layout, parse_csv, tally, progress, heading=1)


def _json(
    path: Path, start: bytes, wanted: Wanted, tally: Tally, progress: Progress | None
) -> Iterator[pl.DataFrame]:
    keys: dict[str, None] = {}
    for line in start.split(b"\n")[:20]:
        try:
            record = json.loads(line)
        except ValueError:
            continue
        keys |= dict.fromkeys(record) if isinstance(record, dict) else {}
    layout = wanted.layout(path, tuple(keys), ())
    if isinstance(layout, str):
        _unreadable(path, f"its first lines: {layout}", start, tally)
        return
    columns = {column: layout.columns.get(column, column) for column in COLUMNS}
    layout = Layout((), columns, ",", layout.machine, layout.knotters, layout.knotters_of)
    yield from _text(path, layout, parse_json, tally, progress)


def _unreadable(path: Path, reason: str, raw: bytes, tally: Tally) -> None:
    faults = (item for item in blocks(path) if isinstance(item, Fault))
    damage = next(faults, None) if not raw else None
    tally.read += 1
    tally.reject(path, 1, damage.reason if damage else reason, raw)


def _text(
    path: Path,
    layout: Layout,
    parse: Parser,
    tally: Tally,
    progress: Progress | None,
    heading: int = 0,
) -> Iterator[pl.DataFrame]:
    for parsed in _in_order(_jobs(path, layout, parse, heading, progress)):
        if isinstance(parsed, Fault):
            tally.read += 1
            tally.reject(path, parsed.line, parsed.reason, parsed.raw)
            continue
        yield from _booked(parsed, path, tally)


def _jobs(
    path: Path, layout: Layout, parse: Parser, heading: int, progress: Progress | None
) -> Iterator[Fault | Callable[[], Parsed]]:
    for item in blocks(path, progress=progress):
        if isinstance(item, Fault):
            yield item
            continue
        data, line = item.data, item.first_line
        if heading and line == 1:
            data, line = data[data.find(b"\n") + 1 if b"\n" in data else len(data) :], 2
        if data:
            yield lambda data=data, line=line: parse(data, line, layout)  # type: ignore[misc]


def _in_order(jobs: Iterator[Fault | Callable[[], Parsed]]) -> Iterator[Fault | Parsed]:
    """Runs a few blocks ahead on threads, and gives the results in the order of the file."""
    waiting: deque[Fault | Future[Parsed]] = deque()
    with ThreadPoolExecutor(BLOCKS_AT_ONCE - 1) as pool:
        for job in jobs:
            waiting.append(job if isinstance(job, Fault) else pool.submit(job))
            if len(waiting) >= BLOCKS_AT_ONCE:
                yield _finished(waiting.popleft())
        while waiting:
            yield _finished(waiting.popleft())


def _finished(item: Fault | Future[Parsed]) -> Fault | Parsed:
    return item if isinstance(item, Fault) else item.result()


def _booked(parsed: Parsed, path: Path, tally: Tally) -> list[pl.DataFrame]:
    tally.read += parsed.lines
    for reason in parsed.ignored:
        tally.ignore(reason)
    for line, reason, raw in parsed.rejects:
        tally.reject(path, line, reason, raw)
    return parsed.events


def _parquet(path: Path, wanted: Wanted, tally: Tally) -> Iterator[pl.DataFrame]:
    try:
        scan = pl.scan_parquet(path)
        names = tuple(scan.collect_schema().names())
        rows = int(scan.select(pl.len()).collect().item())
    except (pl.exceptions.PolarsError, OSError) as error:
        _unreadable(path, f"not readable as Parquet: {str(error).splitlines()[0]}", b"PAR1", tally)
        return
    layout = wanted.layout(path, names, names)
    if isinstance(layout, str):
        _unreadable(path, layout, b"PAR1", tally)
        return
    for first in range(0, rows, PARQUET_ROWS):
        part = scan.select(
            pl.col(name).alias(column) for column, name in layout.columns.items()
        ).slice(first, PARQUET_ROWS)
        try:
            frame = part.collect()
        except (pl.exceptions.PolarsError, OSError) as error:
            tally.read += min(PARQUET_ROWS, rows - first)
            reason = f"rows not readable: {str(error).splitlines()[0]}"
            for row in range(first, min(first + PARQUET_ROWS, rows)):
                tally.reject(path, row + 1, reason)
            continue
        yield from _booked(parse_table(frame, first + 1, layout), path, tally)
