"""Code tables over the shipped rules, and what their logs can tell."""

from __future__ import annotations

from typing import Any

from diagnose.knowledge import load_rules
from diagnose.log.change import Answers
from diagnose.log.codes import CodeTable, OwnTable

BASE = load_rules()


def table(**own: Any) -> CodeTable:
    """A user's own table, checked as one that was read."""
    return CodeTable.of(BASE, OwnTable.model_validate(own))


PLAIN = table()
ANSWERS = Answers.of(PLAIN)
WHICH = BASE.roles.which
