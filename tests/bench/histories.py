"""Long random histories of the session over the small base: nothing lost, nothing disagrees.

Run as `python -m tests.bench.histories [HISTORIES]`; the 10,000 of fifty steps take about half an
hour. The first history that breaks an invariant is printed as a test would print it.
"""

from __future__ import annotations

import sys
import time

from tests.session.test_histories import Histories, run

HISTORIES, STEPS = 10_000, 50


def main() -> None:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else HISTORIES
    began = time.perf_counter()
    for _ in run(Histories, many, STEPS):
        pass
    print(f"histories: {many}")
    print(f"steps a history, at most: {STEPS}")
    print("histories that broke an invariant: 0")
    print(f"seconds: {time.perf_counter() - began:.0f}")


if __name__ == "__main__":
    main()
