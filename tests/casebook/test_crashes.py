"""A case acknowledged is on disk, whatever happens to the writer."""

from __future__ import annotations

import random
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from diagnose.casebook.line import digest
from diagnose.casebook.store import Casebook
from tests.casebook.postgres import Server
from tests.casebook.samples import a_case

ROOT = Path(__file__).parents[2]
KILLS = 200


def test_two_hundred_killed_writers_lose_no_acknowledged_case(where: str) -> None:
    seed = random.randrange(10**6)
    done = subprocess.run(
        [sys.executable, "-m", "tests.casebook.crash_writers", where, str(KILLS), str(seed)],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        cwd=ROOT,
    )
    assert done.returncode == 0, f"seed {seed}: {done.stderr}"
    acknowledged = done.stdout.split()
    assert len(acknowledged) > KILLS / 4, f"seed {seed}: the writers hardly wrote"
    with Casebook(where) as casebook:
        there = {entry.id: entry.case for entry in casebook.entries()}
    for case_id in acknowledged:
        number = int(case_id.removeprefix("case-"))
        assert digest(there[case_id]) == digest(a_case(number))


def test_a_file_whose_log_is_cut_at_any_byte_keeps_all_that_was_synced_before(
    tmp_path: Path,
) -> None:
    """What a power cut leaves: the log up to some byte. Every commit that ended before stays."""
    path, log = tmp_path / "c.db", tmp_path / "c.db-wal"
    ends = []
    with Casebook(path) as casebook:
        for number in range(60):
            casebook.add(a_case(number))
            ends.append(log.stat().st_size)
        assert ends == sorted(set(ends)), "the log was written back meanwhile"
        shutil.copy(path, tmp_path / "whole.db")
        whole = log.read_bytes()
    chance = random.Random(5)
    for cut in chance.sample(range(len(whole)), 60):
        shutil.copy(tmp_path / "whole.db", tmp_path / "cut.db")
        (tmp_path / "cut.db-wal").write_bytes(whole[:cut])
        with closing(sqlite3.connect(tmp_path / "cut.db")) as reader:
            assert reader.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            tables = reader.execute("SELECT name FROM sqlite_master").fetchall()
            known = reader.execute("SELECT case_id FROM copies") if tables else []
            there = {row[0] for row in known}
        assert there >= {a_case(n).id for n, end in enumerate(ends) if end <= cut}


@pytest.mark.parametrize("where", ["postgresql"], indirect=True)
def test_a_crashed_server_loses_no_acknowledged_case(where: str, server: Server) -> None:
    for number in range(5):
        with Casebook(where) as casebook:
            casebook.add(a_case(number))
            server.stop("immediate")
        server.start()
    with Casebook(where) as casebook:
        assert [entry.case for entry in casebook.entries()] == [a_case(n) for n in range(5)]
