"""What the README shows is what is printed; what it names is there."""

from __future__ import annotations

import re
from pathlib import Path

from diagnose.cli.main import COMMANDS
from diagnose.knowledge import load_rules
from tests.technician import README_BALE, session_block, walk

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_session_in_the_readme_is_what_is_printed_now() -> None:
    technician, _, _ = walk(README_BALE, load_rules())
    assert session_block(technician) in README


def test_every_command_is_named_in_the_readme() -> None:
    for name in COMMANDS:
        assert f"`diagnose {name}" in README


def test_every_file_that_the_readme_names_is_there() -> None:
    for name in re.findall(r"(?:casebook_demo|rules|tests)/[\w./*-]+", README):
        assert any(ROOT.glob(name.rstrip("/."))), name
