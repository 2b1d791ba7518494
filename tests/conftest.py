"""One rule base for all: loading is the slow part. And how examples are drawn at the gate."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

from diagnose.knowledge import Knowledge, load_rules
from diagnose.session import Reasoner

# Whoever runs the tests may have rules of their own; they belong to no test.
os.environ["XDG_CONFIG_HOME"] = str(Path(__file__).parent / "nobodys_own")

# A gate gives the same verdict for the same code; new examples are looked for everywhere else.
settings.register_profile("gate", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("gate")


@pytest.fixture(scope="session")
def base() -> Knowledge:
    return load_rules()


@pytest.fixture(scope="session")
def reasoner(base: Knowledge) -> Reasoner:
    return Reasoner(base)
