"""Lines fit the terminal they are made for, from 40 columns up; a file has 80."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.say.text import LEAST, WIDTH, columns, in_columns, table, wrapped
from tests.bale.test_command import DEMO

WORDS = st.lists(st.text("abcdefgh", min_size=1, max_size=12), min_size=1, max_size=30)
WIDTHS = st.integers(LEAST, WIDTH)


@given(words=WORDS, wide=WIDTHS, indent=st.integers(0, 8))
def test_a_paragraph_fits_and_loses_no_word(words: list[str], wide: int, indent: int) -> None:
    with in_columns(wide):
        lines = wrapped(" ".join(words), indent)
    assert all(len(line) <= wide for line in lines)
    assert " ".join(lines).split() == words


@given(rows=st.lists(st.tuples(WORDS, WORDS, WORDS), min_size=1, max_size=4), wide=WIDTHS)
def test_a_table_fits_and_loses_no_word(
    rows: list[tuple[list[str], list[str], list[str]]], wide: int
) -> None:
    cells = [tuple(" ".join(words) for words in row) for row in rows]
    with in_columns(wide):
        lines = table(cells)
    assert all(len(line) <= wide for line in lines)
    told = [word for line in lines for word in line.split() if word != "|"]
    assert told == [word for row in rows for words in row for word in words]


def test_a_narrower_screen_is_taken_as_the_least_and_a_wider_one_as_the_most() -> None:
    with in_columns(7):
        assert columns() == LEAST
        with in_columns(500):
            assert columns() == WIDTH
        assert columns() == LEAST
    assert columns() == WIDTH


@pytest.mark.parametrize("wide", [40, 50, 64])
def test_a_bad_bale_and_a_log_are_told_within_a_narrow_terminal(wide: int) -> None:
    logs = DEMO.parent / "logs"
    bale = ("bale", "--case", str(DEMO / "open_case.yaml"))
    sheet = ("sheet", str(DEMO.parent / "sheets" / "baler_c_2026-07-06.csv"))
    rules = ("rules", "show", "hook_worn")
    for command in (bale, ("log", str(logs / "baler_c_2026.csv.gz")), sheet, rules):
        result = subprocess.run(
            [sys.executable, "-m", "diagnose", *command],
            env=os.environ | {"COLUMNS": str(wide)}, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert len(result.stdout.splitlines()) > 10
        assert max(map(len, result.stdout.splitlines())) <= wide
