"""`python -m tests.bench.log [MILLIONS]`: speed, growth, patterns, planted faults.

Whole commands are run as processes and compared side by side: ours, and polars merely
reading the same file and counting by machine, knotter and code. Best of three runs, and
processor time beside wall time, since other work on the machine disturbs the latter.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import polars as pl

from diagnose.knowledge import load_rules
from diagnose.log.batch import MachineFindings, machine_findings
from diagnose.log.change import course
from diagnose.log.reason import PatternReasoner, pattern_of, reason
from diagnose.log.troubles import Trouble
from diagnose.session import Reasoner
from tests.log.simulate import PLANTS, Fault, season
from tests.log.tables import ANSWERS, PLAIN

MACHINES = 200
COUNT = """import polars as pl, sys
print(pl.scan_csv(sys.argv[1]).group_by("machine", "knotter", "code").len()
      .collect(engine="streaming").height)"""
TABLE = PLAIN


def figure(name: str, value: object) -> None:
    print(f"{name}: {value}", flush=True)


def costs(measured: tuple[float, float, float]) -> str:
    return "{:.2f} / {:.2f} / {:.0f}".format(*measured)


def fleet(path: Path, events: int) -> None:
    """A season of MACHINES machines, one in four with a planted fault, as one CSV."""
    bales = int(events / MACHINES / 1.018)
    names = list(PLANTS)
    with path.open("wb") as file:
        for i in range(MACHINES):
            faults = []
            if i % 4 == 0:
                fault, *_ = PLANTS[names[i // 4 % len(names)]](np.random.default_rng(i))
                spread = np.interp(
                    np.linspace(0, 1, bales), np.linspace(0, 1, len(fault.chance)), fault.chance
                )
                faults = [Fault(fault.codes, fault.knotters, spread)]
            table = season(i, faults, bales, name=f"Baler {i:03}")
            table.write_csv(file, include_header=i == 0, datetime_format="%Y-%m-%dT%H:%M:%S")


def best(command: list[str], runs: int = 3) -> tuple[float, float, float]:
    """Least wall seconds, least processor seconds, and most megabytes of a whole command."""
    wall, cpu, memory = [], [], []
    for _ in range(runs):
        start = time.perf_counter()
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
        _, _, usage = os.wait4(process.pid, 0)
        process.returncode = 0
        wall.append(time.perf_counter() - start)
        cpu.append(usage.ru_utime + usage.ru_stime)
        memory.append(usage.ru_maxrss / 1024)
    return min(wall), min(cpu), max(memory)


def speed(millions: float) -> None:
    seconds = {}
    with tempfile.TemporaryDirectory() as folder:
        for share in (0.1, 1.0):
            path = Path(folder) / "fleet.csv"
            fleet(path, int(share * millions * 1e6))
            with path.open("rb") as file:
                rows = (
                    sum(block.count(b"\n") for block in iter(lambda: file.read(1 << 24), b"")) - 1
                )
            ours = best([sys.executable, "-m", "diagnose", "log", str(path)])
            theirs = best([sys.executable, "-c", COUNT, str(path)])
            seconds[share] = ours[1]
            label = f"{rows / 1e6:.2f} million events of {MACHINES} machines"
            figure(f"{label}, ours, wall s / processor s / peak MB", costs(ours))
            figure(f"{label}, polars counting", costs(theirs))
            figure(f"{label}, ratio wall", f"{ours[0] / theirs[0]:.2f}")
            figure(f"{label}, ratio processor", f"{ours[1] / theirs[1]:.2f}")
    figure(
        "growth of processor time for ten times the events", f"{seconds[1.0] / seconds[0.1]:.2f}"
    )


def patterns() -> None:
    base = load_rules()
    reasoner = Reasoner(base)
    _ = reasoner.tables, reasoner.problem, reasoner.engine
    found = [pattern_of(t, base) for _, _, troubles in planted(25) for t in troubles]
    start = time.perf_counter()
    once = PatternReasoner(reasoner)
    for pattern in found:
        once.reason(pattern)
    together = time.perf_counter() - start
    start = time.perf_counter()
    for pattern in found:
        reason(reasoner, pattern)
    each = time.perf_counter() - start
    figure("troubles reasoned / distinct patterns", f"{len(found)} / {once.distinct}")
    figure("each trouble on its own, ratio of time to each pattern once", f"{each / together:.1f}")


def findings(seed: int, faults: list[Fault]) -> MachineFindings:
    return machine_findings(("Baler A", season(seed, faults).drop("machine"), TABLE, 6))


def planted(seasons: int) -> list[tuple[str, tuple[tuple[int, ...], str | None], list[Trouble]]]:
    """Seasons with one fault each: plant, what is to be found, what was found."""
    out = []
    for number, (name, plant) in enumerate(PLANTS.items()):
        for seed in range(seasons):
            fault, knotters, mechanism = plant(np.random.default_rng(1000 * number + seed))
            troubles = list(findings(50_000 + 1000 * number + seed, [fault]).troubles)
            out.append((name, (knotters, mechanism), troubles))
    return out


def accuracy(seasons: int) -> None:
    base = load_rules()
    reasoner = PatternReasoner(Reasoner(base))
    placed, known, told, missed = 0, 0, 0, 0
    results = planted(seasons)
    for _, (knotters, mechanism), troubles in results:
        if not troubles:
            missed += 1
            told += mechanism is not None
            continue
        which = troubles[0].which
        placed += which.knotters == knotters or (not knotters and not which.p_hot)
        if mechanism is not None:
            told += 1
            known += reasoner.reason(pattern_of(troubles[0], base)).mechanism == mechanism
    figure("planted faults, seasons", len(results))
    figure("planted faults not found at all", missed)
    figure("right knotters first", f"{placed / len(results):.1%}")
    figure("right mechanism first, where the codes can tell it", f"{known / told:.1%} of {told}")
    sound = sum(bool(findings(seed, []).troubles) for seed in range(1000))
    figure("sound machines flagged", f"{sound / 1000:.1%} of 1000 seasons")
    rng = np.random.default_rng(11)
    marks = tuple((int(p), "twine_changed") for p in range(700, 6000, 700))
    stops = np.arange(0, 6000, 60)
    false = 0
    for _ in range(4000):
        bad = np.sort(rng.choice(6000, int(rng.integers(5, 120)), replace=False))
        false += bool(set(course(bad, 6000, marks, stops, ANSWERS).since) - {"always"})
    figure("change told where there is none", f"{false / 4000:.2%} of 4000 logs")


def main() -> None:
    millions = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    accuracy(100)
    patterns()
    speed(millions)
    figure("polars", pl.__version__)


if __name__ == "__main__":
    main()
