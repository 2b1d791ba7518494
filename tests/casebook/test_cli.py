"""`diagnose cases` as it is typed."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from diagnose.case import Case, Checked, MadeSafe, Mended, Noted, Proved, Seen
from diagnose.casebook.line import to_line
from diagnose.casebook.store import Casebook
from diagnose.cli.main import cli
from diagnose.cli.schema import schema_of
from diagnose.errors import DiagnoseError
from diagnose.knowledge.load import rules_folder
from tests.casebook.samples import a_case

CAUSE = "\n  hook_rough:\n"

Run = Callable[..., str]


@pytest.fixture
def run(where: str, capsys: pytest.CaptureFixture[str]) -> Run:
    """Types a `diagnose cases` command on one casebook and gives what it prints."""

    def typed(command: str, *arguments: str) -> str:
        capsys.readouterr()
        cli.main(["cases", command, *arguments, "--casebook", where], standalone_mode=False)
        return capsys.readouterr().out

    return typed


def _a_bale(cause: str = "hook_rough", case_id: str = "bale-1", remark: str = "Rust.") -> Case:
    return Case(
        id=case_id,
        technician="N. N.",
        events=(
            MadeSafe(),
            Seen(sign="hangs", answers=("both_loose",)),
            Checked(check="look_at_hook", found=cause, minutes=8),
            Mended(cause=cause),
            Proved(cause=cause, clean_ties=59, failed=False),
            Noted(text=remark),
        ),
    )


def _saved(folder: Path, case: Case) -> str:
    path = folder / f"{case.id}.json"
    path.write_text(to_line(case))
    return str(path)


def test_a_case_file_added_is_listed_found_and_shown(run: Run, tmp_path: Path) -> None:
    path = _saved(tmp_path, _a_bale())
    assert run("add", path) == "bale-1: kept\n"
    assert run("add", path) == "bale-1: was here already\n"
    assert "bale-1" in run("list")
    assert "1 case, 1 confirmed" in run("search", "rust", "hook")
    assert "0 cases" in run("search", "rust", "needle")
    shown = run("show", "bale")
    assert "Cured: hook rough or rusty" in shown
    assert max(map(len, shown.splitlines())) <= 80


def test_a_conflict_is_shown_and_can_be_settled(run: Run, tmp_path: Path) -> None:
    run("add", _saved(tmp_path, _a_bale()))
    assert "CONTRADICTS" in run("add", _saved(tmp_path, _a_bale("hook_worn", remark="Worn.")))
    shown = run("show", "bale-1")
    assert "hook rough or rusty" in shown
    assert "hook or jaw worn" in shown
    assert "diagnose cases settle bale-1 COPY" in shown
    copies = json.loads(run("list", "--json"))["cases"][0]["copies"]
    worn = next(c["content"] for c in copies if "hook_worn" in str(c["case"]))
    run("settle", "bale-1", worn[:10])
    assert json.loads(run("show", "bale-1", "--json"))["confirmed"] == "hook_worn"
    with pytest.raises(DiagnoseError, match="not one copy"):
        run("settle", "bale-1", "zzz")


def test_an_export_goes_in_again_and_leaves_names_out(run: Run, tmp_path: Path) -> None:
    run("add", _saved(tmp_path, _a_bale()))
    assert "N. N." not in run("export")
    assert "N. N." in run("export", "--names")
    out = tmp_path / "out.jsonl"
    run("export", "--out", str(out))
    assert "1 here already" in run("import", str(out))


def test_lines_that_cannot_be_read_are_told_and_the_exit_code_says_so(
    run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "torn.jsonl"
    path.write_text(f"{to_line(_a_bale())}\n{{torn\n")
    with pytest.raises(SystemExit) as ending:
        run("import", str(path))
    assert ending.value.code == 3
    out = capsys.readouterr().out
    assert "1 new" in out
    assert "torn.jsonl:2: not a case" in out


def test_what_is_learnt_says_on_how_many_cases_it_rests(run: Run, tmp_path: Path) -> None:
    run("add", _saved(tmp_path, _a_bale()))
    assert "rests on 1 confirmed case" in run("learned")
    assert json.loads(run("learned", "--json"))["cases"] == 1


def test_a_replay_prints_scores_and_compares_with_other_rules(run: Run, tmp_path: Path) -> None:
    run("add", _saved(tmp_path, _a_bale()))
    first = run("replay", "--no-learning")
    assert "1 solved case" in first
    assert "No replay with other rules is kept yet" in first
    edited = tmp_path / "rules"
    shutil.copytree(rules_folder(), edited)
    (holds_it,) = (path for path in edited.rglob("*.yaml") if CAUSE in path.read_text())
    before, cause, after = holds_it.read_text().partition(CAUSE)
    holds_it.write_text(before + cause + after.replace("sometimes", "almost never", 1))
    second = run("replay", "--quick", "--no-learning", "--rules", str(edited))
    assert "1 rule changed" in second
    assert "worse: bale-1 hook_rough" in second
    assert "by causes:hook_rough" in second
    assert max(map(len, second.splitlines())) <= 80


def test_the_check_of_the_rules_replays_a_casebook_and_stays_one_json_document(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = str(tmp_path / "book.db")
    with Casebook(place) as book:
        book.add(_a_bale())
    cli.main(["rules", "check", "--json", "--casebook", place], standalone_mode=False)
    data = json.loads(capsys.readouterr().out)
    assert data["replay"]["rules_alone"]["n"] == 1
    Draft202012Validator(schema_of("proofs")).validate(data)


def test_cases_of_another_rule_base_are_left_out_and_named(run: Run, where: str) -> None:
    with Casebook(where) as book:
        book.add(a_case())
    printed = run("replay", "--quick")
    assert "None of the solved cases can be read" in printed
    assert "left out: case-0001: " in printed


def test_a_replay_of_nothing_says_so(run: Run, where: str) -> None:
    Casebook(where).close()
    with pytest.raises(DiagnoseError, match="no solved case yet"):
        run("replay")


def test_an_unknown_id_in_a_case_file_is_told_and_nothing_is_added(
    run: Run, where: str, tmp_path: Path
) -> None:
    path = _saved(tmp_path, a_case())
    with pytest.raises(DiagnoseError, match="unknown sign 'knotters_turned'"):
        run("add", path)
    with Casebook(where) as book:
        assert book.entries() == []


def test_listing_into_a_closed_pipe_and_a_missing_casebook_end_without_a_traceback(
    tmp_path: Path,
) -> None:
    environment = {**os.environ, "DIAGNOSE_CASEBOOK": str(tmp_path / "c.db")}
    diagnose = [sys.executable, "-m", "diagnose"]
    command = f"{sys.executable} -m diagnose cases list | true"
    piped = subprocess.run(
        ["bash", "-c", command], env=environment, capture_output=True, text=True, check=False
    )
    assert "Traceback" not in piped.stderr
    missing = subprocess.run(
        [*diagnose, "rules", "check", "--casebook", str(tmp_path / "no.db")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert missing.returncode == 2
    assert "no casebook there yet" in missing.stderr
    assert "Traceback" not in missing.stderr
