"""How a tolerance is called: the machine's own, or an example where nobody has given it."""

from __future__ import annotations

from diagnose.knowledge.model import Setting

NOT_KNOWN = "Not known for your machine."


def called(setting: Setting, figures: str) -> str:
    """`figures` of a tolerance, said to be an example unless they hold for this machine."""
    return f"{NOT_KNOWN} Example: {figures}" if setting.example else figures
