"""Starts writers and kills each at a random moment; what they had acknowledged is printed.

Run as `python -m tests.casebook.crash_writers WHERE KILLS SEED`. A small process of its own, so
that a writer is a cheap fork of it. After each kill an independent reader (the sqlite3 module)
checks the file, and that every case acknowledged so far is there.
"""

from __future__ import annotations

import os
import random
import select
import signal
import sqlite3
import sys
import time
from contextlib import closing
from importlib import import_module

from diagnose.casebook import database
from diagnose.casebook.store import Casebook
from tests.casebook.samples import a_case

WRITERS = 2
"""Writers alive at the same time, both killed at once."""


def _write(where: str, first: int, acknowledged: int) -> None:
    with Casebook(where) as casebook:
        for number in range(first, first + 10_000):
            case = a_case(number)
            casebook.add(case)
            os.write(acknowledged, f"{case.id}\n".encode())


def _start(where: str, first: int) -> tuple[int, int]:
    read_end, write_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(read_end)
        _write(where, first, write_end)
        os._exit(0)
    os.close(write_end)
    return pid, read_end


def _kill(pid: int, read_end: int) -> list[str]:
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    with os.fdopen(read_end) as said:
        return said.read().split()


def _check(where: str, acknowledged: set[str]) -> None:
    if database.is_server(where):
        return
    with closing(sqlite3.connect(where)) as reader:
        assert reader.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        there = {row[0] for row in reader.execute("SELECT case_id FROM copies")}
    assert acknowledged <= there, sorted(acknowledged - there)


def main(where: str, kills: int, seed: int) -> None:
    if database.is_server(where):
        import_module("psycopg")  # or every writer would spend its life importing it
    chance, acknowledged = random.Random(seed), set[str]()
    for kill in range(0, kills, WRITERS):
        writers = [_start(where, (kill + n) * 10_000) for n in range(WRITERS)]
        if chance.random() < 0.75:  # else blindly, most often while the casebook is opened
            select.select([read_end for _, read_end in writers], [], [])
        time.sleep(chance.uniform(0, 0.04))
        for pid, read_end in writers:
            acknowledged |= set(_kill(pid, read_end))
        # The very first kills may come before there is a table to look into.
        if acknowledged:
            _check(where, acknowledged)
    print("\n".join(sorted(acknowledged)))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
