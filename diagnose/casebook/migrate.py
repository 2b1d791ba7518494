"""Bringing a casebook to the present schema, with a backup made first.

The steps run in one transaction under the writers' lock: another process sees the casebook
before or after them, never between, and a crash leaves it as it was.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from diagnose.casebook import database, schema
from diagnose.errors import StoreError


def bring_up_to_date(engine: Engine, where: str | Path) -> None:
    """Create or migrate the tables, or find them right.

    Raises StoreError when the casebook is newer than the program or is something else.
    """
    with database.reading(engine, where) as connection:
        version = _version(connection, where)
    if version == schema.VERSION:
        return
    if version and engine.dialect.name == "sqlite":
        _back_up_file(Path(where).expanduser(), version)
    with database.writing(engine, where) as connection:
        version = _version(connection, where)  # another process may have been quicker
        if version and version < schema.VERSION and engine.dialect.name == "postgresql":
            _back_up_tables(connection, version)
        _step_forward(connection, version)
    if not version and engine.dialect.name == "sqlite":
        with database.told(where):
            database.sync_folder(Path(where).expanduser())


def _version(connection: Connection, where: str | Path) -> int:
    names = set(inspect(connection).get_table_names())
    if schema.schema_version.name not in names:
        ours = names & set(schema.metadata.tables)
        if (connection.dialect.name == "sqlite" and names) or ours:
            raise StoreError(
                f"{database.shown(where)}: this database belongs to something else; "
                "name another with --casebook"
            )
        return 0
    version = connection.execute(schema.schema_version.select()).scalar_one()
    if version > schema.VERSION:
        raise StoreError(
            f"{database.shown(where)}: written by a newer diagnose (casebook schema {version}, "
            f"this program knows {schema.VERSION}); update the program. Nothing was changed"
        )
    return int(version)


def _step_forward(connection: Connection, version: int) -> None:
    if version == schema.VERSION:
        return
    if version == 0:
        schema.schema_version.create(connection)
        connection.execute(schema.schema_version.insert().values(version=0))
    for tables in schema.STEPS[version:]:
        for table in tables:
            table.create(connection)
    connection.execute(schema.schema_version.update().values(version=schema.VERSION))


def _stamp() -> str:
    return datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")


def _back_up_file(path: Path, version: int) -> Path:
    """A whole, checked copy of the file beside it, synced to disk before anything changes."""
    backup = path.with_name(f"{path.name}.schema{version}.{_stamp()}.bak")
    try:
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(backup)) as copy:
            source.backup(copy)
            sound = copy.execute("PRAGMA integrity_check").fetchone()[0]
        with backup.open("rb") as written:
            os.fsync(written.fileno())
        database.sync_folder(backup)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(f"{backup}: no backup could be made ({error}); nothing changed") from None
    if sound != "ok":
        raise StoreError(f"{path}: the file is damaged ({sound}); nothing was changed")
    return backup


def _back_up_tables(connection: Connection, version: int) -> None:
    """Copies of all tables in the same database, in the same transaction as the steps."""
    tables = [table for step in schema.STEPS[:version] for table in step]
    for table in (schema.schema_version, *tables):
        name = f"{table.name}_schema{version}_{_stamp()}"
        connection.execute(text(f"CREATE TABLE {name} AS SELECT * FROM {table.name}"))
