"""Since when, and how often: the change-point rule over the bales that went bad.

Given M bad bales among N, an unchanged fault leaves them evenly spread. Against that stand
two pictures, each a likelihood ratio given M:

    step     rate r1 before bale t and r2 > r1 after:  i ln(i / M t) + (M-i) ln((M-i) / M (1-t))
             at its best t, i bad bales before it; limits by simulation, see STEP_LIMITS
    growth   rate growing as bale^(b-1), the power law of wearing parts (Crow 1974):
             M ln b + (b-1) sum ln u, b = -M / sum ln u; chi-square with one degree

The picture with the better likelihood (each parameter costs half of ln M) is told, when it
passes its limit; a step after which the rate goes on growing is growth. A step whose place is
as likely (within SUPPORT) at an entry of work or of new twine is told as `after` that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.knowledge.roles import Since
from diagnose.log.codes import CodeTable
from diagnose.log.ordering import Ints
from diagnose.log.rates import Floats, Rate, rate, tail

FEWEST = 5
LONG_ENOUGH = 1000
"""Bales of a log from which an unchanged fault may be called `always`. Judgement."""
"""Bad bales below which nothing is said of a change."""
LEAST_AFTER = 3
STEP_LIMITS = ((5, 5.3), (10, 5.5), (20, 5.7), (50, 6.1), (300, 6.4), (1000, 6.5))
"""Bad bales, and the step's likelihood ratio that an unchanged fault passes in 1 of 100 logs."""
GROWTH_LIMIT = 2.71
"""Half of the 98 % point of chi-square with one degree of freedom: growth only, 1 in 100 logs."""
SUPPORT = 2.0
COINCIDENCE = 0.1
"""An entry is believed behind a change when fewer than this many would fall there by chance."""
STOP_BALES = 3
STOP_P = 0.001
ENDED_P = 0.001


@dataclass(frozen=True)
class Answers:
    """The answers that can be told: of since-when, and of how often by share of bad bales."""

    since: Since
    marked: tuple[str, ...]
    """The answers of since-when that an entry may stand for, in the order of the codes."""
    once: str
    often: tuple[tuple[str, float, float], ...]

    @classmethod
    def of(cls, table: CodeTable) -> Answers:
        often = tuple((name, low, high) for name, (low, high) in table.often_limits.items())
        marked = dict.fromkeys(code.marks for code in table.codes.values() if code.marks)
        return cls(table.roles.since, tuple(marked), table.roles.often.once, often)


@dataclass(frozen=True)
class Course:
    """How a fault ran over the bales."""

    since: tuple[str, ...]
    """Possible answers of the sign `since`; empty: the log does not tell."""
    often: tuple[str, ...]
    began: int
    """Position where it began, or of the first bad bale."""
    ended: int | None
    """Position after which it was clean too long to be chance; None: still going on."""
    before: Rate
    now: Rate
    """Share of bad bales before it began, and from there to its end."""
    p_change: float
    """About how seldom an unchanged fault looks like this; 1 where no change is told."""


def course(
    bad: Ints, bales: int, marks: tuple[tuple[int, str], ...], stops: Ints, answers: Answers
) -> Course:
    """Of the sorted positions of bad bales (each once) among `bales`.

    `marks` are places of entries, and the answer of since-when that each stands for.
    """
    ended = _ended(bad, bales)
    end = int(bad[-1]) + 1 if ended is not None else bales
    since: tuple[str, ...] = ()
    began, p_change = int(bad[0]), 1.0
    if len(bad) >= FEWEST:
        since, began, p_change = _since(bad, end, marks, answers)
        if _after_stops(bad, end, stops):
            since = (answers.since.after_stop,)
    now = rate(int((bad >= began).sum()), max(end - began, 1))
    before = rate(int((bad < began).sum()), began)
    return Course(since, _often(bad, now, ended, answers), began, ended, before, now, p_change)


def _ended(bad: Ints, bales: int) -> int | None:
    """Where it stopped: the clean run since is too long for how often it failed before."""
    last, first = int(bad[-1]), int(bad[0])
    clean = bales - 1 - last
    if len(bad) < 2 or clean < 1:
        return None
    recent = bad[-min(len(bad), 20) :]
    share = (len(recent) - 1) / max(last - int(recent[0]), len(recent) - 1, 1)
    share = min(share, len(bad) / (last - first + 1), 0.999)
    return last + 1 if np.log1p(-share) * clean < np.log(ENDED_P) else None


def _since(
    bad: Ints, end: int, marks: tuple[tuple[int, str], ...], answers: Answers
) -> tuple[tuple[str, ...], int, float]:
    m, say = len(bad), answers.since
    places = step_places(bad)
    ratios = step_ratios(bad, end, places)
    best = int(np.argmax(ratios))
    step, began = float(ratios[best]), int(places[best])
    grows = growth_ratio(bad, end)
    is_step = step > step_limit(m)
    is_growth = grows > GROWTH_LIMIT
    if is_growth and (not is_step or grows >= step - 0.5 * np.log(m)):
        return (say.growing,), int(bad[0]), float(np.exp(-grows))
    if not is_step:
        calm = (
            step < 0.6 * step_limit(m)
            and grows < 0.5 * GROWTH_LIMIT
            and m >= 2 * FEWEST
            and end >= LONG_ENOUGH
        )
        return ((say.always,) if calm else ()), int(bad[0]), 1.0
    p_change = float(np.exp(-step))
    after = bad[bad >= began] - began
    if len(after) >= 2 * FEWEST and growth_ratio(after, end - began) > GROWTH_LIMIT:
        return (say.growing,), began, p_change
    return _explained(bad, end, marks, answers), began, p_change


def _explained(
    bad: Ints, end: int, marks: tuple[tuple[int, str], ...], answers: Answers
) -> tuple[str, ...]:
    """`sudden`, or the entries in the log that a step may have come with."""
    ratios = step_ratios(bad, end, np.arange(1, end))
    supported = np.append(False, ratios >= ratios.max() - SUPPORT)
    width = float(supported.mean())
    told = []
    for answer in answers.marked:
        entries = np.array([p for p, mark in marks if mark == answer and p < end], dtype=np.int64)
        if supported[entries].any():
            if len(entries) * width < COINCIDENCE:
                return (answer,)
            told.append(answer)
    return (answers.since.sudden, *told)


def step_places(bad: Ints) -> Ints:
    """Where a step up is likeliest: just before a bad bale, with enough of them after it."""
    places: Ints = bad[: len(bad) - LEAST_AFTER + 1]
    return places


def step_ratios(bad: Ints, end: int, places: Ints) -> Floats:
    """Likelihood ratio of a step up at each place (0 < place < end), 0 where the rate falls."""
    m = len(bad)
    i = np.searchsorted(bad, places).astype(np.float64)
    t = np.maximum(places, 0.5) / end
    with np.errstate(divide="ignore", invalid="ignore"):
        before = np.where(i > 0, i * np.log(i / (m * t)), 0.0)
        after = np.where(i < m, (m - i) * np.log((m - i) / (m * (1 - t))), 0.0)
    rises = (m - i > m * (1 - t)) & (m - i >= LEAST_AFTER)
    ratios: Floats = np.where(rises, before + after, 0.0)
    return ratios


def step_limit(m: int) -> float:
    """The limit for M bad bales, between the rows of STEP_LIMITS on the scale of ln M."""
    sizes, limits = zip(*STEP_LIMITS, strict=True)
    return float(np.interp(np.log(m), np.log(sizes), limits))


def growth_ratio(bad: Ints, end: int) -> float:
    """Likelihood ratio of power-law growth; 0 when the rate does not grow."""
    logs = np.log((bad + 0.5) / end).sum()
    b = -len(bad) / logs
    return float(len(bad) * np.log(b) + (b - 1) * logs) if b > 1 else 0.0


def _after_stops(bad: Ints, end: int, stops: Ints) -> bool:
    """Most of it happens in the first bales after a stop, and far more than by chance."""
    stops = stops[stops < end]
    if not len(stops):
        return False
    windows = np.unique((stops[:, None] + np.arange(STOP_BALES)).ravel())
    windows = windows[windows < end]
    hits = int(np.isin(bad, windows).sum())
    p = float(tail(hits, len(bad), len(windows) / end))
    return hits >= 0.5 * len(bad) and p < STOP_P


def _often(bad: Ints, now: Rate, ended: int | None, answers: Answers) -> tuple[str, ...]:
    """The answers that the exact interval of the rate allows."""
    if len(bad) == 1 and ended is None:
        return (answers.once,)
    wide = rate(now.events, now.trials, 0.8)
    fitting = [name for name, low, high in answers.often if wide.low < high and wide.high > low]
    inside = [name for name, low, high in answers.often if low <= now.share <= high]
    return tuple(fitting if len(fitting) <= 2 else inside[:1])
