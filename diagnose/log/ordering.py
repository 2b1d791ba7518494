"""Puts one machine's events in order when clock, counter and file order disagree.

Three orders are tried: as delivered, by time, by bale count. A break is a step back of the
time, or of the count by more than SLACK. The order with the fewest breaks is taken; a tie
goes to the one named first. So files given in the wrong order are sorted by time, a clock set
back leaves the delivered order, and a counter that was reset leaves time its say.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
SLACK = 20
"""Bales a count may step back without a break: late entries of the bale before. Judgement."""
OUT_OF_LINE = 1000
"""Bales by which a single count differs from both neighbours when it is not believed."""
NO_COUNT = -1


@dataclass(frozen=True)
class Order:
    """Where each event goes, and what was met on the way.

    `rows` are indices into the events, in order; rows whose count is not believed are left
    out. `position` numbers the bales made since the log began, through resets and gaps.
    """

    rows: Ints
    position: Ints
    moved: int
    clock_jumps: int
    resets: int
    out_of_line: int


def put_in_order(time: Ints, count: Ints) -> Order:
    """Order events by time (ms) and bale count (NO_COUNT where not logged); shapes (n,)."""
    delivered = np.arange(len(time))
    filled = _filled(count)
    if not _time_breaks(time) and not _count_breaks(filled).any() and not _jumps(filled).any():
        return Order(*_late_put_back(delivered, _unwrapped(filled)), 0, 0, 0, 0)
    by_time = np.lexsort((count, time))
    believed = by_time[~_out_of_line(count[by_time])]
    out_of_line = len(time) - len(believed)
    delivered = np.sort(believed)
    orders = [delivered, believed, delivered[np.lexsort((time[delivered], count[delivered]))]]
    if (count[delivered] == NO_COUNT).any():
        orders.pop()
    breaks = [_time_breaks(time[o]) + int(_count_breaks(_filled(count[o])).sum()) for o in orders]
    rows = orders[int(np.argmin(breaks))]
    filled = _filled(count[rows])
    placed, position = _late_put_back(rows, _unwrapped(filled))
    return Order(
        placed,
        position,
        moved=int((rows != delivered).sum()),
        clock_jumps=_time_breaks(time[rows]),
        resets=int(_count_breaks(filled).sum()),
        out_of_line=out_of_line,
    )


def _filled(count: Ints) -> Ints:
    """Counts with missing ones taken from the event before (at the start: the first known)."""
    known = count != NO_COUNT
    if known.all() or not known.any():
        return count
    last = np.maximum.accumulate(np.where(known, np.arange(len(count)), -1))
    return count[np.where(last < 0, int(np.argmax(known)), last)]


def _time_breaks(time: Ints) -> int:
    return int((np.diff(time) < 0).sum())


def _count_breaks(count: Ints) -> Bools:
    """True where the count falls more than SLACK below the highest before it."""
    breaks = np.zeros(len(count), dtype=np.bool_)
    drops = np.flatnonzero(np.diff(count) < -SLACK) + 1
    breaks[drops] = True
    return breaks


def _jumps(count: Ints) -> Bools:
    return np.diff(count) > OUT_OF_LINE


def _out_of_line(count: Ints) -> Bools:
    """Counts far above or below both neighbours, these being close to each other."""
    odd = np.zeros(len(count), dtype=np.bool_)
    known = np.flatnonzero(count != NO_COUNT)
    c = count[known]
    if len(c) < 3:
        return odd
    before, here, after = c[:-2], c[1:-1], c[2:]
    far = (np.abs(here - before) > OUT_OF_LINE) & (np.abs(here - after) > OUT_OF_LINE)
    odd[known[1:-1][far & (np.abs(after - before) <= OUT_OF_LINE)]] = True
    return odd


def _late_put_back(rows: Ints, position: Ints) -> tuple[Ints, Ints]:
    """Late entries of bales before go to their bale; the first bale of all has position 0."""
    if (np.diff(position) >= 0).all():
        return rows, position
    order = np.argsort(position, kind="stable")
    return rows[order], position[order] - position[order[0]]


def _unwrapped(count: Ints) -> Ints:
    """Bales made since the first event: after a reset the numbering goes on."""
    if not len(count) or count[0] == NO_COUNT:
        return np.zeros(len(count), dtype=np.int64)
    step = np.diff(count, prepend=count[0])
    step[_count_breaks(count)] = 1
    return np.cumsum(step)
