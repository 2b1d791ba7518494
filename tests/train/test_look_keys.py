"""Keys of the short lessons: a single letter is a key or a slip, never an answer."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner

from diagnose.cli.train import train


def test_asking_for_help_in_a_look_is_no_answer(tmp_path: Path) -> None:
    place = str(tmp_path / "progress.db")
    options = ["--learner", "new hand", "--progress", place]
    result = CliRunner().invoke(train, [*options, "look"], input="h\n?\ns\n")
    assert result.output.count("or words of one; s leaves.") == 2
    assert "No:" not in result.output
