"""Time and memory: the posterior beside two libraries, the next step, the start of the program.

Run as `python -m tests.bench.speed`. What is compared runs in turns in the same run, and the
medians are compared.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from diagnose.case import Case, Checked, MadeSafe, Seen
from diagnose.inference.tables import Evidence
from diagnose.knowledge import load_rules
from diagnose.session import Reasoner, diagnose
from tests.bench.bales import draw_bale
from tests.inference.networks import network_of, pgmpy_query, pyagrum_query

SOLVED = Path(__file__).parents[2] / "casebook_demo" / "bales" / "1_needle_struck.json"
ROUNDS, QUERIES, STARTS, WALKS, REPEATS = 10, 10, 15, 15, 3
KNOWN = Evidence(
    answers={
        "hangs": ("knot_one_end",),
        "cycled": ("yes",),
        "which": ("one",),
        "tails": ("one_frayed",),
        "since": ("sudden", "growing"),
        "often": ("often",),
        "in_retainer": ("bruised",),
        "dirt": ("dusty",),
    },
    results=(("look_at_retainer_disc", None),),
)


def seconds(run: Callable[[], object], times: int = 1) -> float:
    start = time.perf_counter()
    for _ in range(times):
        run()
    return (time.perf_counter() - start) / times


def medians(runs: dict[str, Callable[[], object]], rounds: int, times: int = 1) -> dict[str, float]:
    """Median seconds of each, run in turns, so many times a turn; one turn is not counted."""
    for run in runs.values():
        run()
    took = [[seconds(run, times) for run in runs.values()] for _ in range(rounds)]
    return dict(zip(runs, np.median(took, axis=0).tolist(), strict=True))


def posterior(reasoner: Reasoner) -> None:
    """The same network of the whole rule base, all three made ready before."""
    tables, network = reasoner.tables, network_of(reasoner.base, KNOWN, whole=True)
    runs = {
        "ours": lambda: tables.posterior(KNOWN).by_cause,
        "pgmpy": pgmpy_query(network),
        "pyAgrum": pyagrum_query(network),
        "pyAgrum told that only the cause is asked": pyagrum_query(network, only_cause=True),
    }
    took = medians(runs, ROUNDS, QUERIES)
    for name, median in took.items():
        off = max(abs(runs[name]()[c] - p) for c, p in runs["ours"]().items())
        print(f"posterior, {name}, median ms: {1000 * median:.3f}")
        print(f"posterior, {name}, largest difference to ours: {off:.1e}")
    for name in list(took)[1:]:
        print(f"posterior, {name}, ratio to ours: {took[name] / took['ours']:.1f}")


def next_steps(reasoner: Reasoner) -> None:
    """Every step of some drawn bales, from the case's events to the next step with its reasons."""
    took = []
    for seed in range(WALKS):
        bale, case = draw_bale(reasoner, seed), Case(id="drawn", events=(MadeSafe(),))
        while True:
            took.append(np.median([_timed(reasoner, case) for _ in range(REPEATS)]))
            step = diagnose(reasoner, case).step
            if step.kind == "safe":
                case = case.with_event(MadeSafe())
            elif step.kind == "ask":
                case = case.with_event(Seen(sign=step.id, answers=(bale.answers[step.id],)))
            elif step.kind == "check" and step.id not in bale.found_by:
                case = case.with_event(Checked(check=step.id))
            else:
                break
    print(f"next step, steps timed: {len(took)}")
    print(f"next step, median ms: {1000 * np.median(took):.1f}")
    print(f"next step, worst ms: {1000 * max(took):.1f}")


def _timed(reasoner: Reasoner, case: Case) -> float:
    return seconds(lambda: diagnose(reasoner, case))


def process(*arguments: str, typed: str = "", folder: str = "") -> Callable[[], None]:
    """Runs Python to its end, as a process of its own."""
    environment = os.environ | {"XDG_DATA_HOME": folder}

    def run() -> None:
        subprocess.run(
            [sys.executable, *arguments],
            input=typed,
            text=True,
            stdout=subprocess.DEVNULL,
            env=environment,
            check=True,
        )

    return run


PEAK = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, check=True)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""


def peak_memory(*arguments: str, folder: str) -> float:
    """MiB of a process; started from a small one, whose own peak it would else begin with."""
    result = subprocess.run(
        [sys.executable, "-c", PEAK, sys.executable, *arguments],
        capture_output=True,
        text=True,
        env=os.environ | {"XDG_DATA_HOME": folder},
        check=True,
    )
    return int(result.stdout) / 1024


def starts(folder: str) -> None:
    """Whole processes, left at once: as the machine is to be made safe, and at a first question."""
    bale = ("-m", "diagnose", "bale")
    runs = {
        "python -c pass": process("-c", "pass"),
        "diagnose --help": process("-m", "diagnose", "--help"),
        "first screen (make safe)": process(*bale, typed="s\n", folder=folder),
        "first question": process(*bale, typed="y\ns\n", folder=folder),
    }
    took = medians(runs, STARTS)
    for name, median in took.items():
        print(f"{name}, median ms: {1000 * median:.0f}")
    for name in list(took)[1:]:
        print(f"{name}, ratio to python -c pass: {took[name] / took['python -c pass']:.1f}")
    diagnosed = peak_memory(*bale, "--case", str(SOLVED), folder=folder)
    print(f"a case diagnosed, peak memory MiB: {diagnosed:.0f}")
    print(f"python -c pass, peak memory MiB: {peak_memory('-c', 'pass', folder=folder):.0f}")


def main() -> None:
    reasoner = Reasoner(load_rules())
    diagnose(reasoner, Case(id="warm"))
    posterior(reasoner)
    next_steps(reasoner)
    with tempfile.TemporaryDirectory() as folder:
        starts(folder)


if __name__ == "__main__":
    main()
