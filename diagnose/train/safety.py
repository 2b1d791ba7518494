"""What has to be made safe before a step. Which step needs what, the rule base's cautions say."""

from __future__ import annotations

from typing import NamedTuple

from diagnose.knowledge import acts
from diagnose.knowledge.model import Knowledge


class Precaution(NamedTuple):
    """What a learner types a word for."""

    caution: str
    said: str


def precautions(base: Knowledge) -> dict[str, Precaution]:
    """Word -> precaution, in the order to take them: nobody reaches in to block what still runs."""
    return {
        caution.confirm.word: Precaution(name, caution.confirm.said)
        for name, caution in base.cautions.items()
        if caution.confirm
    }


def first_word(base: Knowledge) -> str:
    """The word of making safe, which comes before all the others."""
    confirm = base.cautions[base.roles.make_safe].confirm
    assert confirm is not None  # proved when the rules were read
    return confirm.word


def cautions_of(base: Knowledge, kind: str, step: str) -> list[str]:
    """The cautions of a step, those of its place first; none for what costs no hand.

    A question where the search begins is put to the driver or to a bale on the ground. A part is
    set right where the check that finds it best is done, as in a session.
    """
    if kind in ("ask", "check"):
        return list(acts.cautions_of(base, step))
    return list(acts.mending_cautions(base, step)) if kind == "name" else []


def needed(base: Knowledge, kind: str, step: str) -> list[str]:
    """The precautions a step needs, in the order to take them."""
    cautions = cautions_of(base, kind, step)
    wanted = [word for word, what in precautions(base).items() if what.caution in cautions]
    first = first_word(base)
    return list(dict.fromkeys([first, *wanted])) if cautions or kind != "ask" else []


def still_taken(base: Knowledge, taken: frozenset[str], step: str) -> frozenset[str]:
    """The precautions that still hold after a question or a check."""
    gone = acts.undone(base, step)
    held = {word for word, what in precautions(base).items() if what.caution not in gone}
    return taken & held


def reminders(base: Knowledge, kind: str, step: str) -> list[str]:
    """The cautions of a step that no precaution stands for: they are said, not asked for."""
    asked_for = {what.caution for what in precautions(base).values()}
    ran = [base.roles.restart] if kind == "name" else []
    return [name for name in [*cautions_of(base, kind, step), *ran] if name not in asked_for]


def missing(base: Knowledge, kind: str, step: str, taken: frozenset[str]) -> str | None:
    """The first precaution that was forgotten, None when the step is safe."""
    if kind == "safe":
        first = first_word(base)
        return first if step != first and first not in taken else None
    return next((word for word in needed(base, kind, step) if word not in taken), None)
