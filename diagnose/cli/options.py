"""What several commands share: the terminal, the machine's own tolerances, work in the back."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar

import click

if TYPE_CHECKING:
    from diagnose.knowledge import Knowledge
    from diagnose.machine.profile import MachineFile

T = TypeVar("T")
casebook_option = click.option(
    "--casebook",
    envvar="DIAGNOSE_CASEBOOK",
    metavar="PLACE",
    help="A file, or postgresql://USER@HOST/NAME. Else the one in your data folder.",
)
no_learning_option = click.option(
    "--no-learning", is_flag=True, help="The rule base alone, nothing learnt from cases."
)


class Terminal:
    """Lines out, typed lines in; the end of the input is an EOFError."""

    def say(self, lines: list[str]) -> None:
        for line in lines:
            click.echo(line)

    def ask(self, prompt: str) -> str:
        click.echo(prompt, nl=False)
        sys.stdout.flush()
        line = sys.stdin.readline()
        if not line:
            click.echo()
            raise EOFError
        if not sys.stdin.isatty():  # a terminal shows what is typed, a script leaves no trace
            click.echo(line.rstrip("\n"))
        return line.rstrip("\n")


def own_tolerances(
    base: Knowledge, machine_path: Path | None
) -> tuple[Knowledge, MachineFile | None]:
    """The rules with the machine's manual put before common practice, where it is known."""
    if machine_path is None:
        return base, None
    from diagnose.machine.profile import read_machine, with_manual

    machine = read_machine(machine_path, base)
    return with_manual(base, machine), machine


class Background(Generic[T]):
    """Something made while the user reads; a fault in it is raised where it is wanted."""

    def __init__(self, make: Callable[[], T]) -> None:
        self._made: list[T] = []
        self._fault: list[BaseException] = []
        self._thread = threading.Thread(target=self._run, args=(make,), daemon=True)
        self._thread.start()

    def _run(self, make: Callable[[], T]) -> None:
        try:
            self._made.append(make())
        except BaseException as fault:  # raised again by `result`
            self._fault.append(fault)

    def result(self) -> T:
        self._thread.join()
        if self._fault:
            raise self._fault[0]
        return self._made[0]
