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


@pytest.mark.parametrize("path", BALES, ids=lambda path: path.stem)
def test_a_diagnosis_and_a_saved_case_are_as_their_schemas_say(path: Path) -> None:
    command = [sys.executable, "-m", "diagnose", "bale", "--case", str(path), "--json"]
    result = subprocess.run(command, capture_output=True, text=True, check=True)
    told = json.loads(result.stdout)
    Draft202012Validator(schema_of("bale")).validate(told)
    assert not Draft202012Validator(schema_of("bale")).is_valid({**told, "suspects": [{}]})
    if path.suffix == ".json":
        Draft202012Validator(schema_of("case")).validate(json.loads(path.read_text()))
