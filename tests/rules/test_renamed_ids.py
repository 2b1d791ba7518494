"""Ids are names: renamed, sessions, records, drill and log reports say and do the same."""

from __future__ import annotations

import ast
import json
from functools import cache
from pathlib import Path

import pytest
import yaml
from click.testing import CliRunner

from diagnose.bale.saving import case_document
from diagnose.cli.log import log
from diagnose.errors import InputError
from diagnose.knowledge import Knowledge, load_rules, rules_folder
from diagnose.say import data, text
from diagnose.session import Reasoner
from diagnose.train import wording
from diagnose.train.deal import deal
from diagnose.train.judge import Judge
from diagnose.train.planner_way import planner_plays
from diagnose.views.diagnosis import diagnosis_view
from diagnose.views.record import record_view
from tests.renaming import (
    KINDS,
    Renaming,
    renamed_codes,
    renamed_machine,
    renamed_truth,
    write_renamed,
)
from tests.technician import DEMO, walk

PACKAGE = Path(__file__).parents[2] / "diagnose"
LOGS = DEMO.parent / "logs"
DEALT = ("1", "7", "23", "4711")
SAME_WORD = {
    # A word of Python's own that an id of the rules happens to be: a field, a unit, a key.
    ("diagnose/machine/units.py", "density"),
    ("diagnose/twine/report.py", "density"),
    ("diagnose/machine/profile.py", "springs"),
    ("diagnose/casebook/replay_report.py", "since"),
    ("diagnose/log/as_data.py", "which"),
    ("diagnose/log/as_data.py", "since"),
    ("diagnose/log/as_data.py", "often"),
}


def written_ids(base: Knowledge) -> dict[str, str]:
    kinds = ("causes", "mechanisms", "signs", "checks", "settings", "setups", "cautions", "codes")
    return {name: kind for kind in kinds for name in getattr(base, kind)} | {
        f"{sign}={answer}": "answers"
        for sign, body in base.signs.items()
        for answer in body.answers
    }


def test_no_id_of_the_rules_stands_quoted_in_python(base: Knowledge) -> None:
    ids = written_ids(base)
    del ids["bale"]  # a code, and the scope of a sign: a word of the model itself
    told = []
    for path in sorted(PACKAGE.rglob("*.py")):
        name = str(path.relative_to(PACKAGE.parent))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            quoted = node.value if isinstance(node, ast.Constant) else None
            if quoted in ids and (name, quoted) not in SAME_WORD:
                told.append(f"{name}: {ids[quoted]} '{quoted}'")
    assert told == []


def sessions(base: Knowledge, renaming: Renaming, folder: Path) -> list[str]:
    """Screen, case, record and JSON of the demo's three bales, with the old ids back in."""
    (folder / "bales").mkdir(parents=True, exist_ok=True)
    (folder / "machines").mkdir(exist_ok=True)
    for path in sorted((DEMO.parent / "machines").glob("*.yaml")):
        machine = renamed_machine(renaming, yaml.safe_load(path.read_text()))
        (folder / "machines" / path.name).write_text(yaml.safe_dump(machine, sort_keys=False))
    told = []
    for path in sorted(DEMO.glob("*.truth.yaml")):
        truth = renamed_truth(renaming, yaml.safe_load(path.read_text()))
        there = folder / "bales" / path.name
        there.write_text(yaml.safe_dump(truth, sort_keys=False))
        technician, dialogue, diagnosis = walk(there, base)
        told += technician.screen
        told += text(record_view(dialogue.base, diagnosis))
        told.append(json.dumps(case_document(dialogue.case), indent=1))
        known = data(diagnosis_view(dialogue.base, diagnosis))
        told.append(json.dumps({**known, "rules_digest": ""}, indent=1))
    return [renaming.old_text(line) for line in told]


def drills(base: Knowledge, renaming: Renaming) -> list[str]:
    """Cases of the drill by number, as the planner plays them."""
    judge = Judge(Reasoner(base))
    told = []
    for number in DEALT:
        case = deal(judge.tables, number)
        played = planner_plays(judge, case)
        told += [wording.move_text(base, move) for move in played.moves]
        told += [f"{outcome.minutes:.6f}" for outcome in played.outcomes]
        told += wording.notes_lines(judge.tables, played.here)
    return [renaming.old_text(line) for line in told]


def log_report(rules: Path, renaming: Renaming, folder: Path) -> list[str]:
    """The work list and its JSON of the demo's season."""
    table = renamed_codes(renaming, yaml.safe_load((LOGS / "codes.yaml").read_text()))
    codes = folder / "codes.yaml"
    codes.write_text(yaml.safe_dump(table, sort_keys=False))
    arguments = [str(LOGS / "*.csv.gz"), "--codes", str(codes), "--rules", str(rules)]
    told = []
    for more in ([], ["--json"]):
        result = CliRunner().invoke(log, arguments + more, standalone_mode=False)
        told.append(renaming.old_text(result.output))
    return told


@cache
def as_shipped(folder: Path) -> tuple[list[str], list[str], list[str]]:
    base, none = load_rules(), Renaming(())
    return (
        sessions(base, none, folder),
        drills(base, none),
        log_report(rules_folder(), none, folder),
    )


@pytest.fixture(scope="module")
def shipped(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[str], list[str], list[str]]:
    return as_shipped(tmp_path_factory.mktemp("shipped"))


def flat(lines: list[str]) -> str:
    """Text without its line breaks, which move with the length of an id shown."""
    return " ".join(" ".join(lines).split())


ALONE = [pytest.param((kind,), marks=pytest.mark.slow) for kind in KINDS]


@pytest.mark.parametrize("kinds", [KINDS, *ALONE], ids="+".join)
def test_renamed_rules_say_and_do_the_same(
    kinds: tuple[str, ...], tmp_path: Path, shipped: tuple[list[str], list[str], list[str]]
) -> None:
    rules = tmp_path / "rules"
    renaming = write_renamed(rules, kinds)
    base = load_rules(rules)
    assert len(renaming.back) > 7
    assert flat(sessions(base, renaming, tmp_path)) == flat(shipped[0])
    assert drills(base, renaming) == shipped[1]
    assert flat(log_report(rules, renaming, tmp_path)) == flat(shipped[2])


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("  restart: restart", "  restart: restrat", "roles.restart: unknown caution 'restrat'"),
        ("  failed_tie: hangs", "  failed_tie: hook_worn", "unknown sign 'hook_worn'"),
        ("few: same_few", "few: same_fwe", "roles.which.few: unknown answer of 'which' 'same_fwe'"),
        ("  missed: tie_missed\n", "", "'missed' is missing"),
        ("  least: never", "  leest: never", "unknown key 'leest', did you mean 'least'"),
        ("worth_mending: possible", "worth_mending: maybe", "unknown standing 'maybe'"),
        ("once: 0.01, ", "onse: 0.01, ", "unknown answer of 'often' 'onse'"),
    ],
)
def test_a_role_that_names_nothing_is_refused_with_file_line_and_the_nearest_name(
    tmp_path: Path, old: str, new: str, told: str
) -> None:
    write_renamed(tmp_path, ())
    shipped = (rules_folder() / "base.yaml").read_text(encoding="utf-8")
    assert old in shipped
    (tmp_path / "base.yaml").write_text(shipped.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as refused:
        load_rules(tmp_path)
    line = shipped[: shipped.index(old)].count("\n") + 1
    assert told in str(refused.value)
    assert f"base.yaml:{line}:" in str(refused.value) or "missing" in told
