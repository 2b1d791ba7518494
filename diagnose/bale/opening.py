"""Before the first question: which case it is, where it is kept, and that the machine is safe.

Needs the rule base but not the arithmetic, so that it is on the screen at once.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple, Protocol

from diagnose.bale.casefile import read_case
from diagnose.bale.cautions import NOT_SAFE, is_safe, safe_lines
from diagnose.bale.saving import cases_folder, newest_open_case, save_case
from diagnose.case import Case, Machine, MadeSafe
from diagnose.errors import InputError
from diagnose.knowledge.model import Knowledge


class Console(Protocol):
    """Where lines are shown and typed. `ask` raises Abort when nobody is there any more."""

    def say(self, lines: list[str]) -> None: ...

    def ask(self, prompt: str) -> str: ...


class Opened(NamedTuple):
    """A case to work on, where it is kept, and what to say of it."""

    case: Case
    path: Path
    note: str = ""


def new_case(base: Knowledge, path: Path | None, machine: Machine) -> Opened:
    """A new case, on disk before anything is asked. Raises InputError, StoreError."""
    if path is not None and path.exists():
        raise InputError(
            f"{path} is there already; add --resume to go on with it, or name another file"
        )
    now = datetime.now(UTC)
    name = f"bale-{now:%Y%m%d-%H%M%S}-{secrets.token_hex(2)}"
    case = Case(id=name, rules=base.base.version, opened=now, machine=machine)
    path = path or cases_folder() / f"{name}.json"
    save_case(case, path)
    return Opened(case, path)


def saved_case(base: Knowledge, path: Path | None) -> Opened:
    """The case at `path`, or the unfinished one last worked on. Raises InputError."""
    found, others = (path, 0) if path else newest_open_case(cases_folder())
    case = read_case(found, base)
    more = f" ({others} more unfinished in {found.parent})" if others else ""
    return Opened(case, found, f"Going on with {case.id}, {len(case.events)} entries so far{more}.")


def made_safe(
    base: Knowledge, case: Case, console: Console, save: Callable[[Case], None]
) -> Case | None:
    """The case once the machine is confirmed safe; None when the technician leaves."""
    console.say(["", *safe_lines(base)])
    while True:
        typed = console.ask("> ")
        if is_safe(typed):
            case = case.with_event(MadeSafe(at=datetime.now(UTC)))
            save(case)
            return case
        if typed.strip().lower() in ("s", "leave"):
            return None
        console.say([f"  {NOT_SAFE}"])
