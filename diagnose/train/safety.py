"""What has to be made safe before a step. Which step needs what, the rule base's cautions say."""

from __future__ import annotations

from diagnose.knowledge.model import Knowledge

PRECAUTIONS = {
    "safe": ("make_safe", "engine off, power off, all seen to stand still, key in my pocket"),
    "block": ("flywheel_energy", "flywheel seen standing still, brake set or blocked"),
    "lock": ("needle_energy", "needles locked or propped"),
    "alone": ("hand_turning", "I turn alone, nobody else has a hand in the machine"),
    "chock": ("crush_under_chamber", "level ground, wheels chocked, someone knows I am below"),
    "clear": ("everyone_clear", "heads counted, everyone clear and in sight"),
}
"""What a learner types -> the caution of the rule base that asks for it, and what it stands for."""
FIRST = "safe"
"""Comes before all the others: nobody reaches in to block or lock what is still running."""

RUNS = "restart"
"""The caution of a check for which the machine runs; after it nothing is safe any more."""


def needed(base: Knowledge, kind: str, step: str) -> list[str]:
    """The precautions a question or check needs, in the order to take them.

    A question where the search begins is put to the driver or to a bale on the ground.
    """
    if kind == "ask":
        body = base.signs[step]
        if body.setup == base.start_setup:
            return []
        cautions = base.setups[body.setup].cautions
    else:
        check = base.checks[step]
        cautions = [*base.setups[check.setup].cautions, *check.cautions]
    wanted = [word for word, (caution, _) in PRECAUTIONS.items() if caution in cautions]
    return list(dict.fromkeys([FIRST, *wanted]))


def missing(base: Knowledge, kind: str, step: str, taken: frozenset[str]) -> str | None:
    """The first precaution that was forgotten, None when the step is safe."""
    if kind == "safe":
        return FIRST if step != FIRST and FIRST not in taken else None
    return next((word for word in needed(base, kind, step) if word not in taken), None)
