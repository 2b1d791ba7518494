"""One row that cannot be read locks nothing: it is named, counted, kept, and the rest works."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diagnose.casebook.exchange import pack
from diagnose.casebook.store import Casebook
from diagnose.cli.main import cli
from tests.bale.test_command import DEMO

CASES = DEMO.parent / "cases"


@pytest.fixture
def damaged(tmp_path: Path) -> Path:
    """The demo's season of Baler C, one of its rows spoilt."""
    place = tmp_path / "book.db"
    run("import", str(CASES / "baler_c.jsonl"), "--casebook", str(place))
    with sqlite3.connect(place) as db:
        (key, case_id) = db.execute("SELECT digest, case_id FROM copies ORDER BY 1").fetchone()
        db.execute("UPDATE copies SET line = ? WHERE digest = ?", ('{"id": 7', key))
    db.close()
    (tmp_path / "which").write_text(case_id)
    return place


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, ["cases", *words])


@pytest.mark.parametrize(
    "command", [("list",), ("search", "baler"), ("learned",), ("export",), ("replay",)]
)
def test_every_command_works_and_names_the_row(damaged: Path, command: tuple[str, ...]) -> None:
    words = list(command)
    result = run(*words, "--casebook", str(damaged))
    assert result.exit_code == 0, result.output
    assert "1 row of this casebook cannot be read" in result.output
    assert (damaged.parent / "which").read_text() in result.output
    assert "Traceback" not in result.output


def test_what_is_read_is_all_but_the_row_and_nothing_is_taken_out(damaged: Path) -> None:
    with sqlite3.connect(damaged) as db:
        (rows,) = db.execute("SELECT count(*) FROM copies").fetchone()
    db.close()
    with Casebook(damaged) as book:
        copies, _ = book.copies()
        assert len(copies) == rows - 1
        assert len(book.unread) == 1
        assert len(pack(book).cases) == len(copies)
        book.add(copies[0].case)
    with sqlite3.connect(damaged) as db:
        assert db.execute("SELECT count(*) FROM copies").fetchone() == (rows,)
    db.close()
