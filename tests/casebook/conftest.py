"""Casebooks to test on: a SQLite file, and a database of a real PostgreSQL server.

The server's programs come from Debian's `postgresql`; without them its tests are skipped.
It listens on a socket in a folder of its own and runs as the user `postgres`, because it
refuses to run as root.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

import pytest

from tests.casebook.postgres import Server, programs


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    found = programs()
    if found is None:
        pytest.skip("no PostgreSQL server programs here (Debian: apt-get install postgresql)")
    folder = Path(tempfile.mkdtemp(prefix="casebook-server-"))
    running = Server(found, folder)
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
