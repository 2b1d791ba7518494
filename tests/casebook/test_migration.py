"""A casebook of an older schema is brought forward, with a backup made first."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import inspect

from diagnose.casebook import database, migrate, schema
from diagnose.casebook.line import content, digest, to_line
from diagnose.casebook.store import Casebook
from diagnose.errors import StoreError
from tests.casebook.samples import a_case


def _old(where: str, version: int = 1) -> None:
    """A casebook as the program wrote it at an older schema version, with one case in it."""
    engine = database.connect(where)
    case = a_case()
    with database.writing(engine, where) as connection:
        schema.schema_version.create(connection)
        connection.execute(schema.schema_version.insert().values(version=version))
        for tables in schema.STEPS[:version]:
            for table in tables:
                table.create(connection)
        connection.execute(
            schema.copies.insert().values(
                digest=digest(case),
                content=content(case),
                case_id=case.id,
                added="2026-05-04T12:00:00+00:00",
                line=to_line(case),
            )
        )
    engine.dispose()


def _version(where: str) -> int:
    engine = database.connect(where)
    with database.reading(engine, where) as connection:
        found = connection.execute(schema.schema_version.select()).scalar_one()
    engine.dispose()
    return int(found)


@pytest.mark.parametrize("version", range(1, schema.VERSION))
def test_every_older_casebook_opens_with_its_cases(where: str, version: int) -> None:
    _old(where, version)
    with Casebook(where) as casebook:
        assert [entry.case for entry in casebook.entries()] == [a_case()]
    assert _version(where) == schema.VERSION


def test_a_file_is_backed_up_whole_before_it_is_changed(tmp_path: Path) -> None:
    path = tmp_path / "casebook.db"
    _old(str(path))
    Casebook(path).close()
    (backup,) = tmp_path.glob("casebook.db.schema1.*.bak")
    with closing(sqlite3.connect(backup)) as copy:
        assert copy.execute("SELECT version FROM schema_version").fetchone() == (1,)
        assert copy.execute("SELECT case_id FROM copies").fetchall() == [("case-0001",)]
    with Casebook(backup) as again:
        assert again.entries()[0].case == a_case()


@pytest.mark.parametrize("where", ["postgresql"], indirect=True)
def test_tables_on_a_server_are_copied_before_they_are_changed(where: str) -> None:
    _old(where)
    Casebook(where).close()
    engine = database.connect(where)
    with engine.connect() as connection:
        kept = [n for n in inspect(connection).get_table_names() if n.startswith("copies_schema1_")]
        assert len(kept) == 1
        assert connection.exec_driver_sql(f"SELECT case_id FROM {kept[0]}").scalar() == "case-0001"
    engine.dispose()


def test_a_casebook_that_is_up_to_date_is_not_backed_up(tmp_path: Path) -> None:
    for _ in range(2):
        Casebook(tmp_path / "casebook.db").close()
    assert not list(tmp_path.glob("*.bak"))


def test_a_casebook_newer_than_the_program_is_refused_and_left_alone(where: str) -> None:
    Casebook(where).close()
    engine = database.connect(where)
    newer = schema.VERSION + 1
    with database.writing(engine, where) as connection:
        connection.execute(schema.schema_version.update().values(version=newer))
    engine.dispose()
    with pytest.raises(StoreError, match=f"newer diagnose .casebook schema {newer}"):
        Casebook(where)
    assert _version(where) == newer


def test_a_migration_that_fails_half_way_changes_nothing(
    where: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    _old(where)

    def fail_at_the_end(connection: object, version: int) -> None:
        migrate_for_real(connection, version)
        raise OSError("the power went")

    migrate_for_real = migrate._step_forward
    monkeypatch.setattr(migrate, "_step_forward", fail_at_the_end)
    with pytest.raises(StoreError, match="the power went"):
        Casebook(where)
    monkeypatch.undo()
    assert _version(where) == 1
    with Casebook(where) as casebook:
        assert casebook.entries()[0].case == a_case()
