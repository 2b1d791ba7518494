"""One rule base for all: loading is the slow part."""

from __future__ import annotations

import pytest

from diagnose.knowledge import Knowledge, load_rules
from diagnose.session import Reasoner


@pytest.fixture(scope="session")
def base() -> Knowledge:
    return load_rules()


@pytest.fixture(scope="session")
def reasoner(base: Knowledge) -> Reasoner:
    return Reasoner(base)
