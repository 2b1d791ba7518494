"""Cautions in full or by name, and the step that comes before all others: make it safe.

Needs nothing but the rule base, so that the first thing shown is there at once.
"""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.knowledge.model import Knowledge
from diagnose.say.text import wrapped


def caution_lines(base: Knowledge, names: Iterable[str], told: Iterable[str] = ()) -> list[str]:
    """What to do first, in full where it was not told before; else its danger by name."""
    told, names = set(told), list(names)
    lines: list[str] = []
    for name in names:
        if name not in told:
            caution = base.cautions[name]
            lines += wrapped(f"{caution.danger} {caution.first}", first="  ! ")
    again = [base.cautions[name] for name in names if name in told]
    before = [caution.name for caution in again if not caution.once]
    if before:
        lines += wrapped(f"as before: {', '.join(before)}.", first="  ! ")
    return lines


def safe_lines(base: Knowledge) -> list[str]:
    """The first step of every search."""
    return [
        *wrapped("Before anything else: make the machine safe."),
        *caution_lines(base, base.setups[base.start_setup].cautions),
        *wrapped("Done, and seen to stand still? Type y. (s leaves.)", 2),
    ]


def is_safe(typed: str) -> bool:
    """Only a plain yes counts."""
    return typed.strip().lower() in ("y", "yes")


NOT_SAFE = "type y when the machine is safe, or s to leave"
