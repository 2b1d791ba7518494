"""From a machine's log to its troubles: codes above their everyday rate, and where they belong.

A code is above its everyday rate when the exact binomial test says so over the whole log or
over its last half, quarter, eighth ... , for the machine or for one knotter; Holm's
correction over all of these keeps a sound machine unflagged in at least 99 of 100 logs. Codes
that fall at the same bales are one trouble.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.knowledge import roles
from diagnose.log.change import Answers, Course, course
from diagnose.log.codes import CodeTable
from diagnose.log.evenness import Which, which_knotters
from diagnose.log.machine_log import MachineLog
from diagnose.log.ordering import Bools, Ints
from diagnose.log.rates import Floats, holm, tail

ALPHA = 0.01
"""Chance that a machine at its everyday rates is flagged."""
SHORTEST = 20
"""Bales of the shortest stretch at the end of the log that is looked at by itself."""
TOGETHER_P, TOGETHER_SHARE = 0.001, 0.2
"""Codes belong together when they meet this much more often than by chance, at such a share
of the bad bales. Judgement."""
NEAR = 20
"""Bales from where a trouble began within which an answer that a code tells belongs to it.
Judgement."""
ENOUGH_UNCOUNTED = 3
"""Events that make work where there are no bale counts, and so no rates. Judgement."""


@dataclass(frozen=True)
class Trouble:
    """One thing wrong on one machine, as the log shows it."""

    machine: str
    codes: tuple[tuple[str, int], ...]
    """Neutral codes (or `sign=answer`) with their events, strongest first."""
    which: Which
    course: Course | None
    """None without bale counts."""
    p: float
    """Holm-adjusted chance of so much at everyday rates."""
    position: Ints
    """Bad bales and their knotters (0: not told): what the pictures show."""
    knotter: Ints
    ties_a_day: float
    """Ties at risk a day, if it is left as it is."""

    @property
    def going_on(self) -> bool:
        return self.course is None or self.course.ended is None


@dataclass(frozen=True)
class _Flag:
    code: int
    p: float
    from_position: int
    """Start of the stretch in which it stands out most."""


def troubles(log: MachineLog, table: CodeTable) -> list[Trouble]:
    """Everything wrong in one machine's log; the strongest first."""
    groups: list[tuple[_Flag, Which, Bools, list[int]]] = []
    for flag in sorted(_flags(log, table), key=lambda f: (f.p, f.code)):
        mine = log.code == flag.code
        for _, _, bad, codes in groups:
            if _together(log, bad, mine):
                codes.append(flag.code)
                break
        else:
            which, bad = _where(log, mine, flag.from_position, table.roles.which)
            groups.append((flag, which, bad, [flag.code]))
    taken = {code for *_, codes in groups for code in codes}
    for _, _, bad, codes in groups:
        others = [c for c in range(len(log.codes)) if c not in taken]
        codes += [c for c in others if _together(log, bad, log.code == c)]
    return [_trouble(log, table, *group) for group in groups]


def _flags(log: MachineLog, table: CodeTable) -> list[_Flag]:
    """Codes above their everyday rate."""
    present = np.unique(log.code).tolist()
    if not log.bales:
        counts = np.bincount(log.code, minlength=len(log.codes))
        return [_Flag(c, 0.0, 0) for c in present if counts[c] >= ENOUGH_UNCOUNTED]
    starts = _starts(log.bales)
    tests = {c: _tests(log, c, table, starts) for c in present}
    if not tests:
        return []
    adjusted = holm(np.concatenate([p.ravel() for p in tests.values()]))
    flags, first = [], 0
    for code, p in tests.items():
        mine = adjusted[first : first + p.size].reshape(p.shape)
        first += p.size
        if mine.min() < ALPHA:
            window = int(np.argmin(p.min(axis=0)))
            flags.append(_Flag(code, float(mine.min()), int(starts[window])))
    return flags


def _starts(bales: int) -> Ints:
    """Where the whole log, its last half, last quarter ... begin."""
    halvings = max(0, int(np.log2(max(bales, 1) / SHORTEST)))
    return np.array([bales - (bales >> j) for j in range(halvings + 1)])


def _tests(log: MachineLog, code: int, table: CodeTable, starts: Ints) -> Floats:
    """p-values, one row for the machine and (codes of ties) one for each knotter."""
    mine = log.code == code
    position, knotter = log.position[mine], log.knotter[mine]
    is_tie = table.kind_of(log.codes[code]) == "tie"
    normal = table.normal_rate(log.codes[code])
    inside = position[:, None] >= starts
    trials = log.bales - starts
    rows = [tail(inside.sum(axis=0), trials * (log.knotters if is_tie else 1), normal)]
    if is_tie and (knotter > 0).any():
        for k in range(1, log.knotters + 1):
            rows.append(tail(inside[knotter == k].sum(axis=0), trials, normal))
    return np.array(rows)


def _where(
    log: MachineLog, mine: Bools, from_position: int, role: roles.Which
) -> tuple[Which, Bools]:
    """Which knotters, and the events that belong to it."""
    recent = mine & (log.position >= from_position)
    which = which_knotters(log.position[recent], log.knotter[recent], log.knotters, role)
    if which.answer in (role.one, role.few):
        return which, mine & np.isin(log.knotter, which.knotters)
    return which, mine


def _together(log: MachineLog, bad: Bools, other: Bools) -> bool:
    """Whether two sets of events meet at the same bales far more often than by chance."""
    bales = np.unique(log.position[bad])
    others = np.unique(log.position[other])
    hits = int(np.isin(others, bales).sum())
    if hits < 2 or hits < TOGETHER_SHARE * min(len(bales), len(others)):
        return False
    total = max(log.bales, int(log.position.max(initial=0)) + 1)
    return float(tail(hits, len(others), min(1.0, len(bales) / total))) < TOGETHER_P


def _trouble(
    log: MachineLog, table: CodeTable, flag: _Flag, which: Which, bad: Bools, codes: list[int]
) -> Trouble:
    position, knotter = log.position[bad], log.knotter[bad]
    bales = np.unique(position)
    run = (
        course(bales, log.bales, _changes(log, table), log.stops, Answers.of(table))
        if log.bales
        else None
    )
    if run:
        codes = [*codes, *(c for c in _told_near(log, run.began) if c not in codes)]
    counts = [
        (log.codes[c], int((log.code[bad] == c).sum() or (log.code == c).sum())) for c in codes
    ]
    return Trouble(
        log.name, tuple(counts), which, run, flag.p, position, knotter,
        _ties_a_day(log, table, codes, knotter, bales, run),
    )  # fmt: skip


def _changes(log: MachineLog, table: CodeTable) -> tuple[tuple[int, str], ...]:
    """Entries that a change may have come with, as the answers they stand for."""
    answers = ((position, table.codes[code].marks) for position, code in log.marks)
    return tuple((position, answer) for position, answer in answers if answer)


def _told_near(log: MachineLog, began: int) -> list[int]:
    """Codes that the code table takes for an answer, logged where the trouble began."""
    near = np.unique(log.code[np.abs(log.position - began) <= NEAR]).tolist()
    return [code for code in near if "=" in log.codes[code]]


def _ties_a_day(
    log: MachineLog,
    table: CodeTable,
    codes: list[int],
    knotter: Ints,
    bales: Ints,
    run: Course | None,
) -> float:
    """Bad bales a day by today's rate, times the ties at risk in each."""
    if run is None or run.ended is not None:
        return 0.0
    each = float(log.knotters)
    if table.kind_of(log.codes[codes[0]]) == "tie" and (knotter > 0).any():
        each = (knotter > 0).sum() / len(bales)
    return float(run.now.share * log.bales / log.days * each)
