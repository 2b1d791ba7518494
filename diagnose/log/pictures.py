"""Inline SVG pictures of one trouble, black on white: where it fell, how often, when it began."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

import numpy as np

from diagnose.knowledge.model import Knowledge
from diagnose.log.batch import CodeRate, WorkItem
from diagnose.log.ordering import Ints

WIDTH, LEFT, RIGHT, ROW = 640, 78, 12, 18
_PLOT = WIDTH - LEFT - RIGHT


def misses(item: WorkItem, base: Knowledge) -> str:
    """Bad ties by knotter (rows) and bale (across); entries of work and twine below."""
    trouble, log = item.trouble, item.log
    told = trouble.knotter > 0
    rows = range(1, log.knotters + 1) if told.any() else range(1)
    parts = []
    for row, k in enumerate(rows):
        y = 8 + row * ROW
        parts.append(_text(LEFT - 6, y + 11, f"knotter {k}" if k else "machine", "end"))
        parts.append(_line(LEFT, y + 14, WIDTH - RIGHT, y + 14, "#999", 0.5))
        places = trouble.position[trouble.knotter == k] if k else trouble.position
        for x in _columns(places, log.bales):
            parts.append(_line(x, y + 2, x, y + 14, "#000", 1.2))
    bottom = 8 + len(rows) * ROW
    parts += _onset(item, 4, bottom)
    parts += _marks(item, bottom + 3, base)
    parts += _bale_axis(item, bottom + 12)
    return _svg("Bad ties by knotter and bale", bottom + 44, parts)


def rates(item: WorkItem, measured: Iterable[CodeRate]) -> str:
    """Share of bad ties at each knotter with its exact 95 % interval."""
    code = item.trouble.codes[0][0]
    shown = [r for r in measured if r.code == code]
    top = max((r.rate.high for r in shown), default=0.0) or 1.0
    tick = _nice(top)
    limit = tick * int(np.ceil(top / tick))
    parts = []
    for row, r in enumerate(shown):
        y = 8 + row * ROW + 9
        low, high, share = (
            LEFT + _PLOT * value / limit for value in (r.rate.low, r.rate.high, r.rate.share)
        )
        name = f"knotter {r.knotter}" if r.knotter else "machine"
        parts.append(_text(LEFT - 6, y + 4, name, "end"))
        parts.append(_line(low, y, high, y, "#000", 1))
        parts += [_line(x, y - 4, x, y + 4, "#000", 1) for x in (low, high)]
        parts.append(f'<circle cx="{share:.1f}" cy="{y}" r="3.2"/>')
    bottom = 12 + len(shown) * ROW
    parts.append(_line(LEFT, bottom, WIDTH - RIGHT, bottom, "#000", 1))
    for i in range(round(limit / tick) + 1):
        x = LEFT + _PLOT * i * tick / limit
        parts.append(_line(x, bottom, x, bottom + 4, "#000", 1))
        parts.append(_text(x, bottom + 16, f"{100 * i * tick:.3g}", "middle"))
    parts.append(_text(WIDTH - RIGHT, bottom + 29, "per cent of bales", "end"))
    return _svg("Rates by knotter with 95 per cent intervals", bottom + 34, parts)


def began(item: WorkItem) -> str:
    """Bad bales counted up over the bales made: a bend is a change."""
    trouble, log, height = item.trouble, item.log, 120
    bad = np.unique(trouble.position)
    x = LEFT + _PLOT * bad / max(log.bales, 1)
    y = 8 + height - height * np.arange(1, len(bad) + 1) / len(bad)
    keep = np.unique(np.linspace(0, len(bad) - 1, min(len(bad), 600)).astype(int))
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x[keep], y[keep], strict=True))
    parts = [
        f'<polyline points="{LEFT},{8 + height} {points} {WIDTH - RIGHT},8" fill="none" '
        'stroke="#000" stroke-width="1.5"/>',
        _line(LEFT, 8, LEFT, 8 + height, "#000", 1),
        _text(LEFT - 6, 14, str(len(bad)), "end"),
        _text(LEFT - 6, 8 + height, "0", "end"),
        _text(LEFT - 6, 8 + height / 2, "bad bales", "end"),
        *_onset(item, 8, 8 + height),
        *_bale_axis(item, 8 + height),
    ]
    return _svg("Bad bales counted up, and where it began", height + 44, parts)


def _columns(places: Ints, bales: int) -> list[float]:
    """Half-pixel columns, each drawn once however many bales share it."""
    halves = np.unique(np.round(2 * (LEFT + _PLOT * places / max(bales, 1))))
    return [float(half) / 2 for half in halves]


def _onset(item: WorkItem, top: float, bottom: float) -> list[str]:
    run = item.trouble.course
    if run is None or run.p_change >= 1:
        return []
    x = LEFT + _PLOT * run.began / max(item.log.bales, 1)
    return [
        f'<line x1="{x:.1f}" y1="{top}" x2="{x:.1f}" y2="{bottom}" stroke="#000" '
        'stroke-width="1" stroke-dasharray="4 3"><title>began here</title></line>'
    ]


def _marks(item: WorkItem, y: float, base: Knowledge) -> list[str]:
    """Triangle: the first kind of entry that the rules name, work on the machine; ring: others."""
    parts = []
    kinds = [code for code, body in base.codes.items() if body.kind == "mark"]
    for position, code in item.log.marks:
        x = LEFT + _PLOT * position / max(item.log.bales, 1)
        title = f"<title>{escape(base.codes[code].says)}</title>"
        if code == kinds[0]:
            shape = f'<path d="M{x:.1f} {y} l4 7 h-8 z">{title}</path>'
        else:
            shape = (
                f'<circle cx="{x:.1f}" cy="{y + 4}" r="3" fill="none" stroke="#000">'
                f"{title}</circle>"
            )
        parts.append(shape)
    return parts


def _bale_axis(item: WorkItem, y: float) -> list[str]:
    """The machine's own bale count, with the day, at a handful of places."""
    log = item.log
    parts = [_line(LEFT, y, WIDTH - RIGHT, y, "#000", 1)]
    for i in range(5):
        position = round(max(log.bales - 1, 0) * i / 4)
        x = LEFT + _PLOT * position / max(log.bales, 1)
        anchor = ("start", "middle", "middle", "middle", "end")[i]
        when, count = log.when(position), log.bale_count(position)
        parts.append(_line(x, y, x, y + 4, "#000", 1))
        parts.append(_text(x, y + 15, f"bale {count:,}" if count is not None else "", anchor))
        parts.append(_text(x, y + 27, f"{when.day} {when:%b}" if when else "", anchor))
    return parts


def _nice(top: float) -> float:
    """A round step that divides the axis into two to five parts."""
    power = 10.0 ** np.floor(np.log10(top))
    return float(next(power * f for f in (0.2, 0.5, 1.0, 2.0) if top / (power * f) <= 5))


def _line(x1: float, y1: float, x2: float, y2: float, stroke: str, width: float) -> str:
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
        f'stroke="{stroke}" stroke-width="{width}"/>'
    )


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'


def _svg(title: str, height: float, parts: list[str]) -> str:
    return (
        f'<svg viewBox="0 0 {WIDTH} {height:.0f}" role="img" font-size="10" '
        f'font-family="sans-serif"><title>{escape(title)}</title>{"".join(parts)}</svg>'
    )
