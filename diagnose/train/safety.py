"""What has to be made safe before a step. Which step needs what, the rule base's cautions say."""

from __future__ import annotations

from diagnose.knowledge import acts
from diagnose.knowledge.model import Knowledge

PRECAUTIONS = {
    "safe": ("make_safe", "engine off, power off, all seen to stand still, key in my pocket"),
    "block": ("flywheel_energy", "flywheel seen standing still, then blocked"),
    "lock": ("needle_energy", "needles locked and propped"),
    "alone": ("hand_turning", "I turn alone, nobody else has a hand in the machine"),
    "chock": ("crush_under_chamber", "level ground, wheels chocked, a second person in sight"),
    "clear": ("everyone_clear", "heads counted, everyone clear and in sight"),
}
"""What a learner types -> the caution of the rule base that asks for it, and what it stands for."""
FIRST = "safe"
"""Comes before all the others: nobody reaches in to block or lock what is still running."""


def cautions_of(base: Knowledge, kind: str, step: str) -> list[str]:
    """The cautions of a step, those of its place first; none for what costs no hand.

    A question where the search begins is put to the driver or to a bale on the ground. A part is
    set right where the checks that find it are done: what all of them ask for, it asks for too.
    """
    if kind in ("ask", "check"):
        return list(acts.cautions_of(base, step))
    if kind != "name":
        return []
    finders = [name for name, check in base.checks.items() if step in check.confirms]
    first, *others = [acts.cautions_of(base, name) for name in finders]
    shared = [caution for caution in first if all(caution in other for other in others)]
    return list(dict.fromkeys([*shared, *base.causes[step].cautions]))


def needed(base: Knowledge, kind: str, step: str) -> list[str]:
    """The precautions a step needs, in the order to take them."""
    cautions = cautions_of(base, kind, step)
    wanted = [word for word, (caution, _) in PRECAUTIONS.items() if caution in cautions]
    return list(dict.fromkeys([FIRST, *wanted])) if cautions or kind != "ask" else []


def reminders(base: Knowledge, kind: str, step: str) -> list[str]:
    """The cautions of a step that no precaution stands for: they are said, not asked for."""
    asked_for = {caution for caution, _ in PRECAUTIONS.values()}
    ran = [acts.RESTART] if kind == "name" else []
    return [name for name in [*cautions_of(base, kind, step), *ran] if name not in asked_for]


def missing(base: Knowledge, kind: str, step: str, taken: frozenset[str]) -> str | None:
    """The first precaution that was forgotten, None when the step is safe."""
    if kind == "safe":
        return FIRST if step != FIRST and FIRST not in taken else None
    return next((word for word in needed(base, kind, step) if word not in taken), None)
