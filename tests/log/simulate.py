"""Simulated seasons with known faults: what the tests and the bench plant, they look for.

Not made from the rules that find them: a fault here is a course of chances over the bales of
a season, drawn bale by bale, with everyday noise below the everyday rates of the code table.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import polars as pl

from diagnose.log.event_blocks import EVENTS

SEASON_START = 1_781_500_000_000  # 2026-06-15, milliseconds
HEALTHY = {"tie_missed": 0.3, "twine_out": 1.0, "density_over": 3.0, "bale_too_short": 3.0}
"""Events in a thousand ties or bales on a sound machine."""


@dataclass(frozen=True)
class Fault:
    """Codes at some knotters (0: the machine), with a chance that runs over the bales."""

    codes: tuple[str, ...]
    knotters: tuple[int, ...]
    chance: np.ndarray
    """Of a bad bale at each knotter, by bale; shape (bales,)."""


def season(
    seed: int, faults: list[Fault], bales: int = 4000, knotters: int = 6, name: str = "Baler A",
    marks: list[tuple[int, str]] | None = None,
) -> pl.DataFrame:  # fmt: skip
    """A machine's events (EVENTS): each bale, everyday noise, the planted faults."""
    rng = np.random.default_rng(seed)
    time = SEASON_START + np.cumsum(_seconds(rng, bales)) * 1000
    rows = [(np.arange(bales), np.zeros(bales, int), "bale")]
    for code, thousandth in HEALTHY.items():
        for k in range(1, knotters + 1) if code in ("tie_missed", "twine_out") else (0,):
            at = np.flatnonzero(rng.random(bales) < thousandth / 1000)
            rows.append((at, np.full(len(at), k), code))
    for fault in faults:
        for k in fault.knotters:
            at = np.flatnonzero(rng.random(bales) < fault.chance)
            rows += [(at, np.full(len(at), k), code) for code in fault.codes]
    rows += [(np.array([at]), np.zeros(1, int), code) for at, code in marks or []]
    position = np.concatenate([at for at, _, _ in rows])
    table = pl.DataFrame(
        {
            "time": time[position],
            "machine": [name] * len(position),
            "bale": position + 1,
            "knotter": np.concatenate([k for _, k, _ in rows]),
            "code": np.concatenate([np.full(len(at), code) for at, _, code in rows]),
            "value": pl.Series([None] * len(position), dtype=pl.Float32),
        }
    )
    return (
        table.with_columns(
            pl.col("time").cast(pl.Datetime("ms")),
            pl.when(pl.col("knotter") > 0).then(pl.col("knotter")),
        )
        .sort("time", maintain_order=True)
        .cast(dict(EVENTS))
    )  # type: ignore[arg-type]


def _seconds(rng: np.random.Generator, bales: int) -> np.ndarray:
    """Seconds from bale to bale: fields of about 60 bales, days of about 300."""
    seconds = rng.integers(35, 90, bales)
    seconds[::60] += rng.integers(900, 3600, len(seconds[::60]))
    seconds[::300] += 14 * 3600
    return seconds


def steps(bales: int, *parts: tuple[int, float]) -> np.ndarray:
    """Chance by bale: from each start on, the chance that goes with it."""
    chance = np.zeros(bales)
    for start, value in parts:
        chance[start:] = value
    return chance


BALES = 4000
Plant = Callable[[np.random.Generator], tuple[Fault, tuple[int, ...], str | None]]


def _planted(
    codes: tuple[str, ...], mechanism: str | None, whole: bool = False, shape: str = "step"
) -> Plant:
    """A fault of random strength, begin and knotter; the knotters and the mechanism to find.

    Mechanism None: these codes cannot tell it, and only the place is asked for.
    """

    def plant(rng: np.random.Generator) -> tuple[Fault, tuple[int, ...], str | None]:
        share, begin = rng.uniform(0.01, 0.15), int(rng.integers(500, 3500))
        chance = steps(BALES, (begin, share))
        if shape == "growth":
            chance = share * np.linspace(0, 1, BALES) ** 2
        knotters = (0,) if whole else (int(rng.integers(1, 7)),)
        return Fault(codes, knotters, chance), () if whole else knotters, mechanism

    return plant


PLANTS: dict[str, Plant] = {
    "no cycle, sudden": _planted(("knotter_no_cycle",), "never_turned", whole=True),
    "no cycle, growing": _planted(("knotter_no_cycle",), "never_turned", True, "growth"),
    "no cycle, long bales": _planted(
        ("knotter_no_cycle", "bale_too_long"), "never_turned", True, "growth"
    ),
    "double cycle": _planted(("knotter_double_cycle",), "turned_late", whole=True),
    "late cycle": _planted(("tie_cycle_late",), "turned_late", whole=True),
    "twine gone": _planted(("twine_out", "tie_missed"), "no_twine"),
    "one knotter, sudden": _planted(("tie_missed",), None),
    "one knotter, growing": _planted(("tie_missed",), None, shape="growth"),
}
"""What a controller logs of a fault, by how such controllers work: common practice, no source."""
