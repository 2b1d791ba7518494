"""Lines of a setting and of a chance, for uses that put them between lines of their own."""

from __future__ import annotations

from diagnose.knowledge.model import Setting
from diagnose.say import lines
from diagnose.views.setting import part_of, setting_blocks, share


def tolerance_lines(setting: Setting, inches: bool = False) -> list[str]:
    """What is right, and how to measure it."""
    return lines(setting_blocks(part_of("", setting), inches))


def share_text(value: float) -> str:
    """`3 in 10`, `1 in 25`: a chance as a count."""
    return str(share(value))
