"""One machine's log made ready for counting: bales made, faults by bale and knotter, marks."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt
import polars as pl

from diagnose.log.codes import IGNORED_BY_TABLE, CodeTable
from diagnose.log.ordering import NO_COUNT, Ints, Order, put_in_order
from diagnose.log.tally import NOT_MAPPED, TWICE

STOP = 20 * 60_000
"""Milliseconds between two entries from which the machine counts as having stopped. Judgement."""
GAP = 50
"""Bales missing between two entries of a log that has every bale, from which they are
taken as not logged rather than as sound. Judgement."""
DAY = 86_400_000
_CLOCK_POINTS = 400
_FEW = 10_000
"""Rows up to which plain Python finds double ones faster than a query is set up."""
_UNMAPPED, _LEFT_OUT = -1, -2
_FAULT, _COUNT, _MARK = 1, 2, 3
_KINDS = {"tie": _FAULT, "bale": _FAULT, "count": _COUNT, "mark": _MARK}


@dataclass(frozen=True)
class Clock:
    """Points along the log: position, time (ms) and the machine's own bale count there."""

    position: Ints
    time: Ints
    count: Ints

    def before(self, position: int) -> int:
        return max(0, int(np.searchsorted(self.position, position, side="right")) - 1)


@dataclass(frozen=True)
class MachineLog:
    """What the statistics need of one machine; small, whatever the log's length.

    `position`, `knotter` (0: not told) and `code` (index into `codes`) describe the fault
    events, one for each bale, knotter and code, by position.
    """

    name: str
    knotters: int
    bales: int
    """Bales watched; 0 when the log has no bale counts."""
    codes: tuple[str, ...]
    """Neutral codes, or `sign=answer`, that occur."""
    position: Ints
    knotter: Ints
    code: Ints
    marks: tuple[tuple[int, str], ...]
    """(position, code) of entries that explain a change."""
    stops: Ints
    """Positions of the first bale after each stop."""
    clock: Clock
    events: int = 0
    ignored: Counter[str] = field(default_factory=Counter)
    unmapped: Counter[str] = field(default_factory=Counter)
    notes: tuple[str, ...] = ()

    @property
    def judged(self) -> bool:
        """More of its entries are understood than not; else its silence says nothing."""
        return sum(self.unmapped.values()) <= self.events

    @property
    def days(self) -> int:
        """Days on which anything was logged."""
        return max(1, len(np.unique(self.clock.time // DAY)))

    def when(self, position: int) -> datetime | None:
        """Time at a position, at the last point kept before it."""
        if not len(self.clock.time):
            return None
        time = int(self.clock.time[self.clock.before(position)])
        return datetime.fromtimestamp(time / 1000, UTC).replace(tzinfo=None)

    def bale_count(self, position: int) -> int | None:
        """The machine's own bale count at a position."""
        if not self.bales:
            return None
        at = self.clock.before(position)
        return int(self.clock.count[at] + position - self.clock.position[at])


def machine_log(name: str, events: pl.DataFrame, table: CodeTable, knotters: int) -> MachineLog:
    """From a machine's events as delivered (columns of EVENTS but machine) to its log."""
    ignored: Counter[str] = Counter()
    delivered = events.height
    events = _once(events, ignored)
    time = events["time"].to_physical().to_numpy()
    count = events["bale"].cast(pl.Int64).fill_null(NO_COUNT).to_numpy()
    order = put_in_order(time, count)
    ignored["bale count out of line with its neighbours"] = order.out_of_line
    ids, code, told, unmapped = _decoded(events["code"], table)
    logged = events["knotter"].fill_null(0).to_numpy().astype(np.int64)
    knotter = np.where(told > 0, told, logged)[order.rows]
    time, count, code = time[order.rows], count[order.rows], code[order.rows]
    ignored[NOT_MAPPED] = int((code == _UNMAPPED).sum())
    ignored[IGNORED_BY_TABLE] = int((code == _LEFT_OUT).sum())
    kinds = np.array([*(_KINDS[table.kind_of(i)] for i in ids), 0, 0])[code]
    has_counts = bool((count != NO_COUNT).any())
    position, not_logged = _watched(order.position, int((kinds == _COUNT).sum()))
    if not has_counts:
        position = np.arange(len(time))
    fault = kinds == _FAULT
    key = np.unique((position[fault] * 16 + knotter[fault]) * len(ids) + code[fault])
    stopped = np.flatnonzero(np.diff(time) > STOP) + 1
    mark = np.flatnonzero(kinds == _MARK)
    return MachineLog(
        name,
        knotters,
        bales=int(position.max(initial=-1)) + 1 if has_counts else 0,
        codes=tuple(ids),
        position=key // len(ids) // 16 if ids else key,
        knotter=key // len(ids) % 16 if ids else key,
        code=key % len(ids) if ids else key,
        marks=tuple((int(position[i]), ids[code[i]]) for i in mark),
        stops=np.unique(position[stopped]),
        clock=_clock(position, time, count),
        events=delivered - sum(ignored.values()),
        ignored=+ignored,
        unmapped=unmapped,
        notes=_notes(order, not_logged, has_counts),
    )


def _once(events: pl.DataFrame, ignored: Counter[str]) -> pl.DataFrame:
    """Each event once. Only events of one and the same moment can be the same event."""
    time = events["time"].to_physical().to_numpy()
    step = np.diff(time)
    if (step > 0).all():
        return events
    doubtful = np.ones(len(time), dtype=np.bool_)
    if (step >= 0).all():
        same = step == 0
        doubtful = np.append(same, False) | np.append(False, same)
    part = events[np.flatnonzero(doubtful)]
    if part.height < _FEW:
        first = _first(part.rows())
    else:
        first = part.select(pl.struct(pl.all()).is_first_distinct()).to_series().to_numpy()
    keep = ~doubtful
    keep[doubtful] = first
    ignored[TWICE] = int((~keep).sum())
    return events if keep.all() else events.filter(pl.Series(keep))


def _first(rows: list[tuple[object, ...]]) -> npt.NDArray[np.bool_]:
    """True where a row comes for the first time."""
    places: dict[tuple[object, ...], int] = {}
    return np.array([places.setdefault(row, at) == at for at, row in enumerate(rows)], np.bool_)


def _decoded(codes: pl.Series, table: CodeTable) -> tuple[list[str], Ints, Ints, Counter[str]]:
    """Neutral ids, each event's index into them, the knotter its code tells (0: none), and
    how often each code occurs that nobody mapped."""
    physical = codes.to_physical().to_numpy()
    counts = np.bincount(physical)
    distinct = codes.unique()
    labels = dict(zip(distinct.to_physical().to_list(), distinct.cast(pl.String).to_list()))  # noqa: B905
    meanings = {number: table.meaning(label) for number, label in labels.items()}
    by_label = (meanings[number] for number in sorted(meanings, key=lambda n: labels[n]))
    found = dict.fromkeys(m.id for m in by_label if m is not None and m.id is not None)
    rank = {code: i for i, code in enumerate(table.codes)}
    ids = sorted(found, key=lambda code: rank.get(code, len(rank)))
    index = np.full(len(counts), _UNMAPPED, dtype=np.int64)
    told = np.zeros(len(counts), dtype=np.int64)
    for number, meaning in meanings.items():
        if meaning is not None:
            index[number] = ids.index(meaning.id) if meaning.id is not None else _LEFT_OUT
            told[number] = meaning.knotter or 0
    unmapped = Counter(
        {labels[n]: int(counts[n]) for n, meaning in meanings.items() if meaning is None}
    )
    return ids, index[physical], told[physical], unmapped


def _watched(position: Ints, bale_entries: int) -> tuple[Ints, int]:
    """Positions without the bales that a log of every bale does not have, and their number."""
    step = np.diff(position, prepend=position[:1])
    gaps = step > GAP
    if bale_entries < 0.5 * (step[~gaps].sum() + 1):
        return position, 0
    missing = int((step[gaps] - 1).sum())
    step[gaps] = 1
    return np.maximum(np.cumsum(step), 0), missing


def _clock(position: Ints, time: Ints, count: Ints) -> Clock:
    """A few hundred points, and each one where a day begins or the counter jumps."""
    if not len(time):
        empty = np.zeros(0, dtype=np.int64)
        return Clock(empty, empty, empty)
    even = np.linspace(0, len(time) - 1, min(len(time), _CLOCK_POINTS)).astype(np.int64)
    days = np.flatnonzero(np.diff(time // DAY, prepend=-1))
    jumps = np.flatnonzero(np.diff(np.where(count == NO_COUNT, position, count) - position)) + 1
    rows = np.unique(np.concatenate([even, days, jumps[:_CLOCK_POINTS]]))
    rows = rows[count[rows] != NO_COUNT] if (count != NO_COUNT).any() else rows
    rows = rows[np.argsort(position[rows], kind="stable")]
    return Clock(position[rows], time[rows], count[rows])


def _notes(order: Order, not_logged: int, has_counts: bool) -> tuple[str, ...]:
    told = [
        (order.moved, "events out of order, sorted"),
        (order.clock_jumps, "steps back of the clock; bale counts and file order kept"),
        (order.resets, "times the bale counter was reset or ran back; counting goes on"),
        (not_logged, "bales not in the log and not counted"),
    ]
    notes = [f"{number} {text}" for number, text in told if number]
    return tuple(notes if has_counts else [*notes, "no bale counts, so no rates"])
