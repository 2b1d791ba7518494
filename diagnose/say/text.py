"""Lines as wide as the terminal, 80 columns at most, and numbers as people read them."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

WIDTH = 80
"""Columns of a file, and the most on a screen: longer lines are read badly."""
LEAST = 40
"""Columns below which lines are no longer made to fit."""
ROOM = 16
"""Columns that the last cell of a row needs beside the others; with less it goes below them."""

_columns: ContextVar[int] = ContextVar("columns", default=WIDTH)


@contextmanager
def in_columns(columns: int) -> Iterator[None]:
    """Lines made within fit so many columns, from LEAST to WIDTH."""
    before = _columns.set(min(WIDTH, max(LEAST, columns)))
    try:
        yield
    finally:
        _columns.reset(before)


def columns() -> int:
    """What a line made now may fill."""
    return _columns.get()


def wrapped(text: str, indent: int = 0, first: str = "") -> list[str]:
    """`text` in lines that fit, after `first`, the following lines indented."""
    space = " " * max(indent, len(first))
    lead = first.ljust(indent) if first else " " * indent
    return textwrap.wrap(
        " ".join(text.split()), _columns.get(), initial_indent=lead, subsequent_indent=space
    ) or [lead.rstrip()]


def table(rows: Iterable[Iterable[str]], indent: int = 2) -> list[str]:
    """Rows in columns as wide as their longest cell; the last column wraps.

    Where it would have no room, it stands below the others.
    """
    cells = [list(row) for row in rows]
    if not cells:
        return []
    widths = [max(len(row[i]) for row in cells) for i in range(len(cells[0]) - 1)]
    beside = _columns.get() - indent - sum(width + 2 for width in widths) >= ROOM
    lines: list[str] = []
    for row in cells:
        if not beside:
            lines += wrapped(" | ".join(row[:-1]), indent) + wrapped(row[-1], indent + 4)
            continue
        lead = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False))
        lines += wrapped(row[-1], first=" " * indent + lead + ("  " if widths else ""))
    return lines


def minutes_text(minutes: float) -> str:
    """`20 s`, `4 min` or `1 h 10 min`; the small ones are not pretended to be exact."""
    if minutes < 0.95:
        return f"{max(10, round(minutes * 6) * 10)} s"
    whole = round(minutes)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def times_text(odds: float) -> str:
    """How many times as likely, to two figures at most: 230, 23, 2.3, 0.23."""
    if odds < 0.01:
        return "under 0.01"
    places = 0 if odds >= 10 else 1 if odds >= 1 else 2
    return f"{odds:.{places}f}"


def count(number: int, thing: str) -> str:
    """`1 bale`, `7,842 bales`, `2 entries`."""
    many = f"{thing[:-1]}ies" if thing.endswith("ry") else f"{thing}s"
    return f"{number:,} {thing if number == 1 else many}"
