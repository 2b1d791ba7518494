"""`diagnose train` as it is typed: scripted from standard input, exit codes, files written."""

from __future__ import annotations

import contextlib
import io
import json
import signal
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple
from unittest import mock

import pytest
from jsonschema import Draft202012Validator

from diagnose.case import Case, Checked, MadeSafe, Mended, Proved, Seen
from diagnose.casebook.store import Casebook
from diagnose.cli import main
from diagnose.cli.schema import schema_of
from diagnose.say.text import WIDTH

TRAIN = [sys.executable, "-m", "diagnose", "train"]


class Ended(NamedTuple):
    """How a command ended."""

    returncode: int
    stdout: str
    stderr: str


def run(folder: Path, *options: str, typed: str = "") -> Ended:
    """The command line as a whole, within this process: starting Python takes longer than it."""
    places = ["--progress", str(folder / "p.db"), "--casebook", str(folder / "c.db")]
    out, err = io.StringIO(), io.StringIO()
    with (
        mock.patch.object(sys, "argv", ["diagnose", "train", *places, *options]),
        mock.patch.object(sys, "stdin", io.StringIO(typed)),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        pytest.raises(SystemExit) as left,
    ):
        main.run()
    return Ended(int(left.value.code or 0), out.getvalue(), err.getvalue())


def test_a_case_is_played_from_a_script_to_its_story(tmp_path: Path) -> None:
    script = "ask good knots\nsafe block lock\ncheck look_at_hook\nname hook_worn\n"
    result = run(tmp_path, "--learner", "Anna", "--number", "4711", typed=script)
    assert result.returncode == 0, result.stderr
    assert "the ties hold" in result.stdout
    assert "the planner" in result.stdout
    assert "--number 4711" in result.stdout
    assert max(map(len, result.stdout.splitlines())) <= WIDTH


def test_two_people_get_the_same_case_from_its_number(tmp_path: Path) -> None:
    script = "ask tails\nask since\nleave\n"
    screens = [
        run(tmp_path, "--learner", name, "--number", "99", typed=script).stdout
        for name in ("Anna", "Bo")
    ]
    assert screens[0] == screens[1]


def test_the_only_learner_need_not_be_named_and_of_two_one_must(tmp_path: Path) -> None:
    first = run(tmp_path, "--number", "5", typed="Anna\nleave\n")
    assert "Your name" in first.stdout
    assert "Case 5\n" in run(tmp_path, typed="leave\n").stdout
    run(tmp_path, "--learner", "Bo", "--number", "6", typed="leave\n")
    who = run(tmp_path, typed="leave\n")
    assert who.returncode == 2
    assert "Anna, Bo" in who.stderr


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--number", "nonsense"], "no case number"),
        (["--case", "nothing"], "no solved case begins"),
        (["--solved"], "no solved case"),
        (["set", "moon"], "nothing here is called 'moon'"),
        (["progress"], "nobody has practised yet"),
        (["certificate"], "nobody has practised yet"),
        (["delete", "--yes"], "nobody has practised yet"),
        (["--number", "5", "--solved"], "three different cases"),
    ],
)
def test_a_wrong_wish_is_told_in_one_line_without_a_traceback(
    tmp_path: Path, options: list[str], told: str
) -> None:
    result = run(tmp_path, "--learner", "Anna", *options)
    assert result.returncode == 2
    assert told in result.stderr
    assert "Traceback" not in result.stderr


def test_a_broken_progress_file_is_told_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "p.db").write_text("this is a letter and no database whatsoever")
    result = run(tmp_path, "--learner", "Anna", typed="leave\n")
    assert result.returncode == 2
    assert "is it a progress file" in result.stderr
    assert (tmp_path / "p.db").read_text().startswith("this is a letter")


def _solved_case() -> Case:
    cause = "clamp_spring_weak"
    return Case(
        id="baler-c-1107",
        events=(
            MadeSafe(),
            Seen(sign="hangs", answers=("slipped_open",)),
            Seen(sign="crop", answers=("wet",)),
            Checked(check="measure_clamp_spring", found=cause),
            Mended(cause=cause),
            Proved(cause=cause, clean_ties=59, failed=False),
        ),
    )


def test_a_solved_case_is_played_with_its_cause_hidden(tmp_path: Path) -> None:
    with Casebook(tmp_path / "c.db") as book:
        book.add(_solved_case())
    script = "ask crop\nsafe block lock\ncheck measure_clamp_spring\nname clamp_spring_weak\n"
    result = run(tmp_path, "--learner", "Anna", "--case", "baler-c", typed=script)
    assert result.returncode == 0, result.stderr
    assert "ends bent from the knot, but it came open" in result.stdout
    assert "Haylage or damp crop" in result.stdout
    assert "--case baler-c-1107" in result.stdout
    any_one = run(tmp_path, "--learner", "Bo", "--solved", typed="leave\n")
    assert "its cause hidden" in any_one.stdout
    again = run(tmp_path, "--learner", "Bo", typed="notes\n")
    assert "its cause hidden" in again.stdout


def test_looks_settings_and_the_pages_made_of_them(tmp_path: Path) -> None:
    me = ("--learner", "Anna")
    looked = run(tmp_path, *me, "look", "--times", "2", typed="1\n1\n")
    assert looked.stdout.count("What went wrong?") == 2
    turned = run(tmp_path, *me, "set", "retainer", typed="31 mm\n2\n3 mm\n")
    assert "Right. It would read 28.0 mm." in turned.stdout
    assert "looks, 1 setting" in run(tmp_path, *me, "progress").stdout
    words = json.loads(run(tmp_path, *me, "progress", "--json").stdout)
    assert words["mechanisms"]["no_twine"] == "not met"
    Draft202012Validator(schema_of("progress")).validate(words)
    assert "Anna" in run(tmp_path, "crew").stdout
    page = tmp_path / "page.html"
    assert run(tmp_path, *me, "certificate", "--page", str(page)).returncode == 0
    assert "no licence" in page.read_text(encoding="utf-8")
    assert "no licence" in run(tmp_path, *me, "certificate").stdout
    assert run(tmp_path, *me, "course").stdout.count("plain") >= 2


def test_an_export_holds_all_and_after_deleting_nothing_is_left(tmp_path: Path) -> None:
    me = ("--learner", "Anna")
    run(tmp_path, *me, "look", "--times", "1", typed="1\n")
    out = tmp_path / "anna.json"
    assert run(tmp_path, *me, "export", "--out", str(out)).returncode == 0
    assert len(json.loads(out.read_text(encoding="utf-8"))["practices"]) == 1
    assert run(tmp_path, *me, "delete", typed="n\n").returncode == 130
    assert run(tmp_path, *me, "progress").returncode == 0
    assert run(tmp_path, *me, "delete", "--yes").returncode == 0
    assert run(tmp_path, *me, "progress").returncode == 2
    assert run(tmp_path, "crew").stdout == "Nobody has practised yet.\n"


def test_a_page_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    run(tmp_path, "--learner", "Anna", "look", "--times", "1", typed="1\n")
    result = run(tmp_path, "--learner", "Anna", "certificate", "--page", str(tmp_path / "no" / "x"))
    assert result.returncode == 2
    assert "cannot be written" in result.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="interrupts are sent otherwise there")
def test_an_interrupt_keeps_what_was_typed(tmp_path: Path) -> None:
    command = [*TRAIN, "--progress", str(tmp_path / "p.db"), "--learner", "Anna"]
    with subprocess.Popen(
        [*command, "--number", "4711"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True,
    ) as case:  # fmt: skip
        assert case.stdin is not None
        assert case.stdout is not None
        case.stdin.write("ask tails\n")
        case.stdin.flush()
        while "in all" not in case.stdout.readline():
            pass
        case.send_signal(signal.SIGINT)
        assert case.wait() == 130
    again = run(tmp_path, "--learner", "Anna", typed="notes\n")
    assert "How do the ends of the failed strand look?" in again.stdout
