"""What several commands need made ready: the rule base, and the machine's own tolerances."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from diagnose.machine import MachineFile
    from diagnose.session import Reasoner


def made_ready(
    rules_folder: Path | None, machine_path: Path | None = None
) -> tuple[Reasoner, MachineFile | None]:
    """The rules, with the machine's manual put before common practice where it is known."""
    from diagnose.knowledge import load_rules
    from diagnose.session import Reasoner

    base = load_rules(rules_folder)
    if machine_path is None:
        return Reasoner(base), None
    from diagnose.machine import read_machine, with_manual

    machine = read_machine(machine_path, base)
    return Reasoner(with_manual(base, machine)), machine
