"""The whole batch: files to events, machines to troubles, patterns to a ranked work list."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import polars as pl

from diagnose.log.codes import CodeTable
from diagnose.log.fleet import Fleet
from diagnose.log.machine_log import MachineLog, machine_log
from diagnose.log.rates import Rate, rate
from diagnose.log.read import Wanted, read_events
from diagnose.log.reason import PatternReasoner, Reasoned, pattern_of
from diagnose.log.source import Progress
from diagnose.log.tally import Tally
from diagnose.log.troubles import Trouble, troubles
from diagnose.session import Reasoner

Job = tuple[str, pl.DataFrame, CodeTable, int]
"""Machine, its events, the code table, its knotters."""


@dataclass(frozen=True)
class CodeRate:
    """How often one code came, by knotter (0: told for no knotter, or for the machine)."""

    code: str
    knotter: int
    rate: Rate


@dataclass(frozen=True)
class MachineFindings:
    """One machine's log and what is wrong in it. All that a worker of a cluster sends back."""

    log: MachineLog
    troubles: tuple[Trouble, ...]
    rates: tuple[CodeRate, ...]


@dataclass(frozen=True)
class WorkItem:
    """One line of the work list."""

    trouble: Trouble
    log: MachineLog
    reasoned: Reasoned


@dataclass(frozen=True)
class Batch:
    """Everything a batch found. `work` is ranked; `mended` is what seems to be over."""

    machines: tuple[MachineFindings, ...]
    work: tuple[WorkItem, ...]
    mended: tuple[WorkItem, ...]
    tally: Tally
    patterns: int
    files: tuple[str, ...] = field(default=())

    @property
    def exit_code(self) -> int:
        """0 nothing wrong, 1 work found, 2 nothing could be read, 3 read with rejects.

        A machine that could not be judged counts as rejected: its silence is no all-clear.
        """
        if self.tally.mostly_rejected and self.tally.used:
            return 3
        if self.tally.rejected:
            return 3 if self.tally.rejected < self.tally.read else 2
        if not self.tally.used:
            return 2
        if self.work:
            return 1
        return 3 if self.not_judged else 0

    @property
    def not_judged(self) -> tuple[str, ...]:
        """Machines without a find of which most entries were not mapped, or lines not read."""
        return tuple(
            found.log.name
            for found in self.machines
            if not found.troubles and (not found.log.judged or found.log.name in self.tally.doubted)
        )


def machine_findings(job: Job) -> MachineFindings:
    """One machine by itself: pure, so that it can run anywhere."""
    log = machine_log(*job)
    return MachineFindings(log, tuple(troubles(log, job[2])), tuple(_rates(log, job[2])))


def _rates(log: MachineLog, table: CodeTable) -> Iterator[CodeRate]:
    for index, code in enumerate(log.codes):
        mine = log.code == index
        if not mine.any() or not log.bales:
            continue
        position, knotter = log.position[mine], log.knotter[mine]
        if table.kind_of(code) == "tie" and (knotter > 0).any():
            counts = np.bincount(knotter, minlength=log.knotters + 1)
            for k in range(1, log.knotters + 1):
                yield CodeRate(code, k, rate(int(counts[k]), log.bales))
            if counts[0]:
                yield CodeRate(code, 0, rate(int(counts[0]), log.bales))
        else:
            yield CodeRate(code, 0, rate(len(np.unique(position)), log.bales))


def run_batch(
    paths: Iterable[Path],
    wanted: Wanted,
    reasoner: Reasoner,
    spread: Callable[[Iterable[Job]], Iterable[MachineFindings]] | None = None,
    progress: Progress | None = None,
) -> Batch:
    """Diagnose the logs of a fleet.

    `spread` runs machine_findings over the jobs, in their order; the default does so here.
    """
    paths = list(paths)
    tally, fleet = Tally(), Fleet()
    for events in read_events(paths, wanted, tally, progress):
        fleet.add(events)
    jobs = (
        (name, events, wanted.table, wanted.table_knotters(name))
        for name, events in fleet.machines()
    )
    findings = tuple(spread(jobs) if spread else map(machine_findings, jobs))
    for found in findings:
        _book(found.log, tally)
    patterns = PatternReasoner(reasoner)
    items = [
        WorkItem(trouble, found.log, patterns.reason(pattern_of(trouble, reasoner.base)))
        for found in findings
        for trouble in found.troubles
    ]
    return Batch(
        machines=findings,
        work=tuple(sorted((i for i in items if i.trouble.going_on), key=_rank)),
        mended=tuple(sorted((i for i in items if not i.trouble.going_on), key=_rank)),
        tally=tally,
        patterns=patterns.distinct,
        files=tuple(str(path) for path in paths),
    )


def _book(log: MachineLog, tally: Tally) -> None:
    for reason, count in log.ignored.items():
        tally.ignore(reason, count)
    for code, count in sorted(log.unmapped.items()):
        tally.not_mapped(code, count)
    for note in log.notes:
        tally.note(f"{log.name}: {note}")


def _rank(item: WorkItem) -> tuple[float, float, str]:
    """Most ties at risk a day first."""
    trouble = item.trouble
    return (-trouble.ties_a_day, trouble.p, trouble.machine)
