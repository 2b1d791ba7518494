"""What has to be made safe before a step. Which step needs what, the rule base's cautions say."""

from __future__ import annotations

from typing import NamedTuple

from diagnose.case.protocol import gate, unready
from diagnose.case.state import State
from diagnose.case.use import DRILL
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


def _act(kind: str) -> acts.Kind:
    """A move as an act of the protocol: naming a cause sets it right."""
    return "mend" if kind == "name" else "check" if kind == "check" else "ask"


def needed(base: Knowledge, kind: str, step: str) -> list[str]:
    """The precautions a step needs, in the order to take them."""
    words = {what.caution: word for word, what in precautions(base).items()}
    return [words[caution] for caution in acts.precautions(base, _act(kind), step)]


def reminders(base: Knowledge, kind: str, step: str) -> list[str]:
    """The cautions of a step that no precaution stands for: they are said, not asked for."""
    if kind not in ("ask", "check", "name"):
        return []
    asked_for = {what.caution for what in precautions(base).values()}
    named = acts.mending_cautions(base, step) if kind == "name" else acts.cautions_of(base, step)
    ran = [base.roles.restart] if kind == "name" else []
    return [name for name in [*named, *ran] if name not in asked_for]


def missing(state: State, base: Knowledge, kind: str, step: str) -> str | None:
    """The word of the first precaution that was forgotten, None when the step is safe."""
    words = {what.caution: word for word, what in precautions(base).items()}
    if kind == "safe":
        before = unready(base, state, precautions(base)[step].caution)
        return words[before] if before else None
    shut = gate(base, state, _act(kind), step, DRILL)
    return words[shut[0]] if shut else None
