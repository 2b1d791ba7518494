"""`diagnose bale` as a whole process: files, exit codes, resume, records."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.bale.casefile import case_document, read_case
from diagnose.bale.saving import save_case
from diagnose.errors import InputError, StoreError
from diagnose.knowledge import Knowledge
from diagnose.say import text
from diagnose.views.record import record_view
from tests.technician import DEMO, walk

ROOT = Path(__file__).parent.parent.parent


@pytest.fixture
def diagnose_bale(tmp_path: Path):
    def call(*arguments: object, typed: str = "") -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, "XDG_DATA_HOME": str(tmp_path / "data")}
        return subprocess.run(
            [sys.executable, "-m", "diagnose", "bale", *map(str, arguments)],
            input=typed, capture_output=True, text=True, cwd=ROOT, env=environment, timeout=120,
        )  # fmt: skip

    return call


def case_file(folder: Path, text: str) -> Path:
    path = folder / "case.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_same_case_by_session_and_by_file_gives_the_same_result(
    diagnose_bale, tmp_path: Path
) -> None:
    saved = tmp_path / "mine.json"
    asked = diagnose_bale("--save", saved, typed="y\n3\n1\n1\ns\n")
    assert asked.returncode == 0, asked.stderr
    by_session = json.loads(diagnose_bale("--case", saved, "--json").stdout)
    events = [e for e in read_case(saved).events if e.kind == "seen"]
    lines = "".join(f"  {e.sign}: '{e.answers[0]}'\n" for e in events)
    by_hand = case_file(tmp_path, f"id: {by_session['case']}\nsafe: yes\nseen:\n{lines}")
    assert json.loads(diagnose_bale("--case", by_hand, "--json").stdout) == by_session


def test_json_tells_suspects_next_step_and_cleared(diagnose_bale, tmp_path: Path) -> None:
    path = case_file(
        tmp_path,
        "safe: yes\nseen: {hangs: knot_one_end, cycled: yes, which: one}\n"
        "checks: [{check: clear_retainer}]\n",
    )
    result = diagnose_bale("--case", path, "--json")
    data = json.loads(result.stdout)
    assert {"id", "standing", "chance", "because", "against"} <= data["suspects"][0].keys()
    assert {"id", "kind", "minutes", "setup", "basis", "cautions"} <= data["next_step"].keys()
    assert {c["by"] for c in data["cleared"]} == {"clear_retainer"}
    assert sum(s["chance"] for s in data["suspects"]) == pytest.approx(1, abs=1e-4)


def test_resume_goes_on_at_the_same_step(diagnose_bale) -> None:
    first = diagnose_bale(typed="y\n3\n1\ns\n").stdout
    again = diagnose_bale("--resume", typed="y\ns\n").stdout
    question = re.findall(r"^Question \d+.*\n(.+)$", first, re.MULTILINE)[-1]
    assert "Going on with bale-" in again
    assert question in again
    assert again.index("make the machine safe") < again.index(question)


def test_end_of_input_loses_nothing(diagnose_bale) -> None:
    stopped = diagnose_bale(typed="y\n3\n")
    assert stopped.returncode == 130
    assert "Traceback" not in stopped.stderr
    assert "2 entries so far" in diagnose_bale("--resume", typed="s\n").stdout


def test_an_unmade_safe_machine_comes_first_even_for_a_file(diagnose_bale, tmp_path: Path) -> None:
    path = case_file(tmp_path, "seen: {hangs: slipped_open}\n")
    out = diagnose_bale("--case", path).stdout
    assert out.startswith("First make the machine safe")
    assert "knotter deck" not in out


@pytest.mark.parametrize(
    ("text", "line", "told"),
    [
        ("safe: yes\nseen: {hangs: slipt_open}\n", 2, "did you mean 'slipped_open'?"),
        ("safe: yes\nseen:\n  hans: slipped_open\n", 3, "'hans', did you mean 'hangs'?"),
        ("safe: yes\nsen: {hangs: slipped_open}\n", 2, "unknown key 'sen', did you mean 'seen'?"),
        ("safe: yes\nchecks:\n  - {check: look_at_hok}\n", 3, "did you mean 'look_at_hook'?"),
        ("safe: yes\nsafe: no\n", 2, "'safe' stands twice"),
        ("safe: [\n", 2, "not valid YAML"),
        ("", 1, "holds no case"),
    ],
)  # fmt: skip
def test_a_wrong_case_file_is_told_with_its_line(
    diagnose_bale, tmp_path: Path, text: str, line: int, told: str
) -> None:
    path = case_file(tmp_path, text)
    result = diagnose_bale("--case", path)
    assert result.returncode == 2
    assert f"{path}:{line}: " in result.stderr
    assert told in result.stderr
    assert "Traceback" not in result.stderr


def test_a_missing_file_is_told(diagnose_bale, tmp_path: Path) -> None:
    result = diagnose_bale("--case", tmp_path / "none.yaml")
    assert result.returncode == 2
    assert "No such file" in result.stderr


def test_a_case_of_another_rule_version_is_diagnosed_with_a_note(
    diagnose_bale, tmp_path: Path
) -> None:
    path = case_file(tmp_path, "rules: '2019.4'\nsafe: yes\nseen: {hangs: slipped_open}\n")
    result = diagnose_bale("--case", path)
    assert result.returncode == 0
    assert "was written with rules 2019.4, these are" in result.stderr


def test_a_closed_pipe_is_normal() -> None:
    command = f"{sys.executable} -m diagnose rules list | head -n 1"
    result = subprocess.run(
        ["bash", "-c", f"set -o pipefail; {command}"], capture_output=True, text=True, cwd=ROOT
    )
    assert result.stderr == ""
    assert result.stdout.startswith("mechanisms")
    assert result.returncode == 0


@pytest.mark.parametrize("ending", ["html", "txt"])
def test_a_record_is_one_file_that_asks_for_nothing(
    diagnose_bale, tmp_path: Path, ending: str
) -> None:
    record = tmp_path / f"record.{ending}"
    case = DEMO / "1_needle_struck.json"
    assert diagnose_bale("--case", case, "--record", record).returncode == 0
    text = record.read_text(encoding="utf-8")
    assert "needle travel too short" in text
    assert "9 clean bales" in text
    assert not re.search(r"https?://|<script|<link|src=", text)


def test_what_is_kept_of_the_demos_bales_is_what_a_walk_gives_now(base: Knowledge) -> None:
    for truth in sorted(DEMO.glob("*.truth.yaml")):
        technician, dialogue, diagnosis = walk(truth, base)
        stem = str(truth).removesuffix(".truth.yaml")
        kept = Path(f"{stem}.json").read_text(encoding="utf-8")
        assert json.loads(kept) == case_document(dialogue.case)
        record = "\n".join(text(record_view(dialogue.base, diagnosis))) + "\n"
        assert Path(f"{stem}.txt").read_text(encoding="utf-8") == record
        assert Path(f"{stem}.typed").read_text(encoding="utf-8").splitlines() == technician.typed


def test_saving_replaces_a_file_whole_or_leaves_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = read_case(DEMO / "1_needle_struck.json")
    path = tmp_path / "bale.json"
    save_case(case, path)
    before = path.read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StoreError, match="No space left on device"):
        save_case(case.with_event(case.events[0]), path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["bale.json"]


def test_a_folder_that_cannot_be_written_is_told_before_anything_is_asked(
    diagnose_bale, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("")
    result = diagnose_bale("--save", tmp_path / "file" / "bale.json", typed="y\n")
    assert result.returncode == 2
    assert "cannot be written" in result.stderr
    assert "--save FILE" in result.stderr


def typed_lines() -> str:
    return (DEMO / "2_no_tie_at_all.typed").read_text(encoding="utf-8")


def test_a_session_ends_in_the_casebook_and_teaches_the_next(diagnose_bale, tmp_path: Path) -> None:
    book = tmp_path / "book.db"
    ended = diagnose_bale("--casebook", book, typed=typed_lines())
    assert "kept" in ended.stdout.splitlines()[-1]
    path = case_file(tmp_path, "safe: yes\nseen: {hangs: runs_back, cycled: no}\n")
    taught = json.loads(diagnose_bale("--case", path, "--json", "--casebook", book).stdout)
    alone = json.loads(
        diagnose_bale("--case", path, "--json", "--casebook", book, "--no-learning").stdout
    )
    chance = {
        name: next(s["chance"] for s in data["suspects"] if s["id"] == "trip_rod_worn")
        for name, data in (("taught", taught), ("alone", alone))
    }
    assert (taught["confirmed_cases"], alone["confirmed_cases"]) == (1, 0)
    assert chance["taught"] > chance["alone"]


def test_a_casebook_that_cannot_be_kept_is_told_and_the_bale_is_kept(
    diagnose_bale, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("")
    saved = tmp_path / "bale.json"
    place = tmp_path / "file" / "book.db"
    ended = diagnose_bale(
        "--no-learning", "--casebook", place, "--save", saved, typed=typed_lines()
    )
    assert "Not in the casebook" in ended.stderr
    assert read_case(saved).confirmed == "trip_rod_worn"


def test_an_unknown_id_is_told_at_its_own_line_even_where_its_name_stands_before(
    tmp_path: Path, base: Knowledge
) -> None:
    """The line is that of the entry, not the first that holds the same letters."""
    case = tmp_path / "case.yaml"
    case.write_text(
        "# hook_wrong is not a check\nsafe: yes\nseen:\n  hangs: slipped_open\nchecks:\n"
        "  - {kind: checked, check: look_at_hook}\n  - {kind: checked, check: look_at_hok}\n"
    )
    with pytest.raises(InputError) as told:
        read_case(case, base)
    assert str(told.value) == (
        f"{case}:7: checks.1.check: unknown check 'look_at_hok', did you mean 'look_at_hook'?"
    )
    case.write_text("seen:\n  hangs:\n    2: slipped_open\n    3: slipt_open\n")
    with pytest.raises(InputError, match=r"case.yaml:4: seen.hangs.3: unknown answer of 'hangs'"):
        read_case(case, base)
