"""A diagnosis in one go, for a case file: the step first, then the suspects with reasons."""

from __future__ import annotations

from diagnose.bale import wording
from diagnose.bale.cautions import caution_lines
from diagnose.bale.dialogue import cured_lines
from diagnose.knowledge.model import Knowledge
from diagnose.machine import MachineFile
from diagnose.say.text import wrapped
from diagnose.session import Diagnosis


def summary_lines(
    base: Knowledge,
    diagnosis: Diagnosis,
    numbers: bool = False,
    inches: bool = False,
    machine: MachineFile | None = None,
) -> list[str]:
    """Most useful first: what to do now, who is suspect, what disagrees, on what it rests."""
    lines = _step(base, diagnosis, numbers, inches, machine)
    lines += ["", *wording.contradiction_lines(base, diagnosis)]
    for doubtful in diagnosis.known.doubtful:
        lines += wording.doubtful_lines(base, diagnosis.case, doubtful, machine, inches)
    if diagnosis.step.kind not in ("cured", "call"):
        lines += wording.why_lines(base, diagnosis, numbers)
    return lines


def _step(
    base: Knowledge, diagnosis: Diagnosis, numbers: bool, inches: bool, machine: MachineFile | None
) -> list[str]:
    step = diagnosis.step
    match step.kind:
        case "safe":
            lines = wrapped("First make the machine safe; then add 'safe: yes' to the case.")
            return lines + caution_lines(base, step.cautions)
        case "mend":
            lines = wording.mend_lines(base, step, diagnosis.case, (), machine, inches)
            return lines + wording.aside_lines(base, diagnosis)
        case "prove":
            return wording.proof_lines(base, step) + wording.aside_lines(base, diagnosis)
        case "cured":
            return cured_lines(base, diagnosis)
        case "call":
            return wording.call_lines(base, diagnosis, numbers)
    return wording.step_lines(base, step, 1, inches=inches)
