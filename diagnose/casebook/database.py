"""Opening a casebook's database: the engine, its schema version, and every error in words.

SQLite runs in WAL mode with synchronous=FULL: several processes read and write at once, and
a commit returns only after the log is synced to disk. Reads and writes begin differently:
a writer takes its lock at the start and waits for its turn, instead of failing half-way.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, SQLAlchemyError

from diagnose.errors import StoreError

BUSY_SECONDS = 30
"""How long a process waits for another one's write to end."""
WRITERS_LOCK = 0x7_1E5
"""Key of the PostgreSQL advisory lock that lets one writer in at a time."""


def is_server(where: str | Path) -> bool:
    """Whether this names a PostgreSQL database and not a file."""
    return str(where).startswith(("postgresql://", "postgres://"))


def shown(where: str | Path) -> str:
    """The place as it may be printed: a password is never shown."""
    return make_url(str(where)).render_as_string() if is_server(where) else str(where)


def connect(where: str | Path) -> Engine:
    """An engine for a file path or a `postgresql://` address; nothing is read yet."""
    if is_server(where):
        return _server_engine(str(where))
    path = Path(where).expanduser()
    with told(where):
        path.parent.mkdir(parents=True, exist_ok=True)
    engine = create_engine(
        URL.create("sqlite+pysqlite", database=str(path)),
        connect_args={"timeout": BUSY_SECONDS},
    )
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _server_engine(where: str) -> Engine:
    try:
        url = make_url(where).set(drivername="postgresql+psycopg")
        return create_engine(url, connect_args={"connect_timeout": BUSY_SECONDS})
    except ArgumentError as error:
        raise StoreError(f"'{where}' is not a PostgreSQL address: {error}") from None
    except ImportError:
        raise StoreError(
            "a casebook on a PostgreSQL server needs one more package: "
            "pip install 'psycopg[binary]'"
        ) from None


def _prepare_sqlite(raw: Any, _record: Any) -> None:
    raw.isolation_level = None  # this module says BEGIN itself, so that DDL is transactional too
    raw.execute("PRAGMA synchronous=FULL")
    if raw.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        raw.execute("PRAGMA journal_mode=WAL")


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def reading(engine: Engine, where: str | Path) -> Iterator[Connection]:
    """A transaction that sees one state of the casebook."""
    with told(where), engine.begin() as connection:
        yield connection


@contextmanager
def writing(engine: Engine, where: str | Path) -> Iterator[Connection]:
    """A transaction with the casebook to itself for writing; on disk once it is left."""
    with told(where), engine.execution_options(writes=True).begin() as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(text(f"SELECT pg_advisory_xact_lock({WRITERS_LOCK})"))
            connection.execute(text("SET LOCAL synchronous_commit TO on"))
        yield connection


def sync_folder(path: Path) -> None:
    """Make a new file's name in its folder durable, where the system knows how."""
    if os.name == "posix":
        handle = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextmanager
def told(where: str | Path) -> Iterator[None]:
    """Turn every database and file error into a StoreError that says what to do."""
    try:
        yield
    except OSError as error:
        raise StoreError(f"{shown(where)}: {error.strerror or error}") from None
    except SQLAlchemyError as error:
        cause = str(getattr(error, "orig", None) or error).strip().splitlines()[0].rstrip(".")
        raise StoreError(f"{shown(where)}: {cause}. {_advice(cause)}") from None


ADVICE = {
    "not a database": "This file is no casebook; name another with --casebook.",
    "malformed": "The file is damaged; open the last backup (its name ends in .bak).",
    "disk is full": "Make room on the disk; nothing recorded before is lost.",
    "readonly database": "The file or its folder may not be written; "
    "mend the permission or name another place with --casebook.",
    "unable to open": "Is the folder there, and may you write in it?",
    "locked": f"Another program has held it for {BUSY_SECONDS} s; end that one, then try again.",
    "password authentication": "Check the user name and password in the address.",
    "does not exist": "Ask whoever keeps the server for the right name.",
    "connection failed": "Is the server running, and is the address right?",
}


def _advice(cause: str) -> str:
    return next((words for sign, words in ADVICE.items() if sign in cause), "Nothing was changed.")
