"""Casebooks to test on: a SQLite file, and a database of a real PostgreSQL server.

The server's programs come from Debian's `postgresql`; without them its tests are skipped.
It listens on a socket in a folder of its own and runs as the user `postgres`, because it
refuses to run as root.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

import pytest


class Server:
    """A PostgreSQL server of our own that can be crashed and started again."""

    def __init__(self, programs: Path, folder: Path) -> None:
        self._programs, self.folder = programs, folder
        self._user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        if self._user:
            shutil.chown(folder, "postgres")
        self.run("initdb", "-A", "trust", "-U", "postgres", "-E", "UTF8")
        self.start()

    def run(self, program: str, *options: str) -> None:
        command = [*self._user, str(self._programs / program), "-D", str(self.folder / "data")]
        log = (self.folder.parent / f"{self.folder.name}.log").open("ab")
        with log:
            subprocess.run(
                [*command, *options], check=True, stdout=log, stderr=log, cwd=self.folder
            )

    def start(self) -> None:
        options = f"-c listen_addresses='' -c unix_socket_directories={self.folder}"
        self.run("pg_ctl", "-w", "-o", options, "-l", str(self.folder / "log"), "start")

    def stop(self, mode: str = "fast") -> None:
        """`immediate` ends every server process at once, as a crash would."""
        self.run("pg_ctl", "-w", "-m", mode, "stop")

    def url(self, database: str) -> str:
        return f"postgresql://postgres@/{database}?host={self.folder}"


def _programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else Path(on_path).resolve().parent if on_path else None


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    programs = _programs()
    if programs is None:
        pytest.skip("no PostgreSQL server programs here (Debian: apt-get install postgresql)")
    folder = Path(tempfile.mkdtemp(prefix="casebook-server-"))
    running = Server(programs, folder)
    yield running
    running.stop("immediate")
    shutil.rmtree(folder)
    (folder.parent / f"{folder.name}.log").unlink()


_numbers = count()


@pytest.fixture
def new_database(server: Server) -> Callable[[], str]:
    """Makes an empty database and gives its address."""
    import psycopg

    def make() -> str:
        name = f"casebook_{next(_numbers)}"
        admin = f"host={server.folder} user=postgres dbname=postgres"
        with psycopg.connect(admin, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        return server.url(name)

    return make


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A place for an empty casebook, once as a file and once on the server."""
    if request.param == "sqlite":
        return str(tmp_path / "casebook.db")
    make: Callable[[], str] = request.getfixturevalue("new_database")
    return make()


@pytest.fixture
def elsewhere(where: str, request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A second place of the same kind."""
    if not where.startswith("postgresql"):
        return str(tmp_path / "second.db")
    make: Callable[[], str] = request.getfixturevalue("new_database")
    return make()
