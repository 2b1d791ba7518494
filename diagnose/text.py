"""Lines of at most 80 columns in plain characters, and numbers as people read them."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

WIDTH = 80


def wrapped(text: str, indent: int = 0, first: str = "") -> list[str]:
    """`text` in lines of at most 80 columns, after `first`, the following lines indented."""
    space = " " * max(indent, len(first))
    lead = first.ljust(indent) if first else " " * indent
    return textwrap.wrap(
        " ".join(text.split()), WIDTH, initial_indent=lead, subsequent_indent=space
    ) or [lead.rstrip()]


def table(rows: Iterable[Iterable[str]], indent: int = 2) -> list[str]:
    """Rows in columns as wide as their longest cell; the last column wraps."""
    cells = [list(row) for row in rows]
    if not cells:
        return []
    widths = [max(len(row[i]) for row in cells) for i in range(len(cells[0]) - 1)]
    lines: list[str] = []
    for row in cells:
        lead = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False))
        lines += wrapped(row[-1], first=" " * indent + lead + ("  " if widths else ""))
    return lines


def minutes_text(minutes: float) -> str:
    """`20 s`, `4 min` or `1 h 10 min`; the small ones are not pretended to be exact."""
    if minutes < 0.95:
        return f"{max(10, round(minutes * 6) * 10)} s"
    whole = round(minutes)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def count(number: int, thing: str) -> str:
    """`1 bale`, `7,842 bales`, `2 entries`."""
    many = f"{thing[:-1]}ies" if thing.endswith("ry") else f"{thing}s"
    return f"{number:,} {thing if number == 1 else many}"
