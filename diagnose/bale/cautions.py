"""The step that comes before all others: make it safe.

Needs nothing but the rule base, so that the first thing shown is there at once.
"""

from __future__ import annotations

from diagnose.knowledge.model import Knowledge
from diagnose.say import Para, lines, said
from diagnose.views.caution import caution_lines


def safe_lines(base: Knowledge) -> list[str]:
    """The first step of every search."""
    start = base.setups[base.start_setup].cautions
    return [
        *lines([Para(said("bale.safe_first"))]),
        *caution_lines(base, start),
        *lines([Para(said("bale.safe_done"), 2)]),
    ]


def is_safe(typed: str) -> bool:
    """Only a plain yes counts."""
    return typed.strip().lower() in ("y", "yes")


NOT_SAFE = "type y when the machine is safe, or s to leave"
