"""What `--json` prints is as the published schema says."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator

from diagnose.cli.main import cli
from diagnose.cli.schema import KINDS, schema_of
from tests.bale.test_command import DEMO

BALES = sorted([*DEMO.glob("?_*.json"), DEMO / "open_case.yaml"])


@pytest.mark.parametrize("kind", KINDS)
def test_every_schema_is_one_and_names_its_format(kind: str) -> None:
    made = schema_of(kind)
    Draft202012Validator.check_schema(made)
    assert made["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert "format" in made["properties"]


def test_the_command_lists_and_prints_them_and_names_the_nearest() -> None:
    listed = CliRunner().invoke(cli, ["schema"])
    assert [line.split()[0] for line in listed.output.splitlines()] == list(KINDS)
    printed = CliRunner().invoke(cli, ["schema", "case"])
    assert json.loads(printed.output) == schema_of("case")
    wrong = CliRunner().invoke(cli, ["schema", "cse"])
    assert "did you mean 'case'" in str(wrong.exception)


def told(*arguments: str) -> object:
    """What a command prints with `--json`, whatever it found."""
    result = CliRunner().invoke(cli, [*arguments, "--json"])
    return json.loads(result.stdout)


def test_what_every_command_prints_is_as_its_schema_says(tmp_path: Path) -> None:
    demo, book = DEMO.parent, ("--casebook", str(tmp_path / "book.db"))
    logs = sorted(map(str, (demo / "logs").glob("baler_*_2026.csv.gz")))
    cases = [str(path) for path in sorted((demo / "cases").glob("*.jsonl"))]
    assert CliRunner().invoke(cli, ["cases", "import", *cases, *book]).exit_code == 0
    machine = ("--machine", str(demo / "machines" / "baler_c.yaml"))
    july, april = (str(demo / "sheets" / f"baler_c_2026-0{day}.csv") for day in ("7-06", "4-14"))
    listed = told("cases", "list", *book)
    printed = {
        "sheet": told("sheet", july, *machine, "--before", april),
        "twine": told("twine", *machine, "--bales", "200", "--pressure", "10 kPa"),
        "log": told("log", *logs, "--codes", str(demo / "logs" / "codes.yaml")),
        "cases": listed,
        "solved": told("cases", "show", listed["cases"][0]["id"], *book),  # type: ignore[index]
        "learned": told("cases", "learned", *book),
        "replay": told("cases", "replay", "--quick", *book),
        "rules": told("rules", "list", "hook"),
        "rule": told("rules", "show", "hook_worn"),
    }
    assert set(printed) == set(KINDS) - {"bale", "case", "progress", "proofs"}  # shown elsewhere
    for kind, data in printed.items():
        Draft202012Validator(schema_of(kind)).validate(data)
        assert data["format"] == 1  # type: ignore[index]


@pytest.mark.parametrize("path", BALES, ids=lambda path: path.stem)
def test_a_diagnosis_and_a_saved_case_are_as_their_schemas_say(path: Path) -> None:
    command = [sys.executable, "-m", "diagnose", "bale", "--case", str(path), "--json"]
    result = subprocess.run(command, capture_output=True, text=True, check=True)
    told = json.loads(result.stdout)
    Draft202012Validator(schema_of("bale")).validate(told)
    assert not Draft202012Validator(schema_of("bale")).is_valid({**told, "suspects": [{}]})
    if path.suffix == ".json":
        Draft202012Validator(schema_of("case")).validate(json.loads(path.read_text()))
