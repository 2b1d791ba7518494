"""`diagnose bale`: the question session, or one diagnosis of a case file."""

from __future__ import annotations

import json
import secrets
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from diagnose.errors import InputError

if TYPE_CHECKING:
    from diagnose.case import Case
    from diagnose.machine import MachineFile
    from diagnose.session import Diagnosis, Reasoner

FILE = click.Path(path_type=Path, dir_okay=False)


class Terminal:
    """Lines out, typed lines in."""

    def say(self, lines: list[str]) -> None:
        for line in lines:
            click.echo(line)

    def ask(self, prompt: str) -> str:
        click.echo(prompt, nl=False)
        sys.stdout.flush()
        line = sys.stdin.readline()
        if not line:
            raise click.exceptions.Abort
        return line.rstrip("\n")


@click.command()
@click.option("--case", "case_path", type=FILE, help="Diagnose this case file; nothing is asked.")
@click.option("--json", "as_json", is_flag=True, help="With --case: JSON for other programs.")
@click.option("--resume", is_flag=True, help="Go on with the bale last worked on, or with --save.")
@click.option("--save", "save_path", type=FILE, help="Keep this bale in FILE.")
@click.option("--record", "record_path", type=FILE, help="Write a record, .html or .txt.")
@click.option("--machine", "machine_path", type=FILE, help="Machine file: its own tolerances.")
@click.option("--sheet", "sheet_path", type=FILE, help="Measuring sheet, taken as evidence.")
@click.option("--knotters", type=click.IntRange(1, 12), help="How many knotters the baler has.")
@click.option("--numbers", is_flag=True, help="Show chances as numbers too.")
@click.option("--inches", is_flag=True, help="Show lengths in inches.")
@click.option("--rules", "rules_folder", type=click.Path(path_type=Path), help="Other rule base.")
def bale(
    case_path: Path | None,
    as_json: bool,
    resume: bool,
    save_path: Path | None,
    record_path: Path | None,
    machine_path: Path | None,
    sheet_path: Path | None,
    knotters: int | None,
    numbers: bool,
    inches: bool,
    rules_folder: Path | None,
) -> None:
    """From a bad bale to the one part or setting that is wrong.

    Asks what you see and says what to check next, with its tolerance, its minutes and why.
    Every answer is saved as it is given; `--resume` goes on where you left.
    """
    from diagnose.bale.casefile import check_ids, read_case
    from diagnose.bale.record import write_record
    from diagnose.cli.options import made_ready

    if as_json and case_path is None:
        raise click.UsageError("--json goes with --case FILE")
    reasoner, machine = made_ready(rules_folder, machine_path)
    if case_path is not None:
        case = read_case(case_path)
        check_ids(case, reasoner.base, case_path)
        path = None
    else:
        case, path = _opened(reasoner, resume, save_path)
    case = _with_machine(case, machine, knotters)
    case = _with_sheet(case, reasoner, machine, sheet_path)
    if path is None:
        diagnosis = _told(reasoner, case, as_json, numbers, inches)
    else:
        diagnosis = _asked(reasoner, case, path, machine, numbers=numbers, inches=inches)
    if record_path is not None:
        write_record(reasoner.base, diagnosis, record_path)
        click.echo(f"Record written: {record_path}", err=as_json)


def _opened(reasoner: Reasoner, resume: bool, save_path: Path | None) -> tuple[Case, Path]:
    """A new case and where it is kept, or the one to go on with."""
    from diagnose.bale.casefile import check_ids, read_case
    from diagnose.bale.saving import cases_folder, newest_open_case, save_case
    from diagnose.case import Case

    if resume:
        path, others = (save_path, 0) if save_path else newest_open_case(cases_folder())
        case = read_case(path)
        check_ids(case, reasoner.base, path)
        more = f" ({others} more unfinished in {path.parent})" if others else ""
        click.echo(f"Going on with {case.id}, {len(case.events)} entries so far{more}.")
        return case, path
    if save_path is not None and save_path.exists():
        raise InputError(
            f"{save_path} is there already; add --resume to go on with it, or name another file"
        )
    now = datetime.now(UTC)
    name = f"bale-{now:%Y%m%d-%H%M%S}-{secrets.token_hex(2)}"
    case = Case(id=name, rules=reasoner.base.base.version, opened=now)
    path = save_path or cases_folder() / f"{name}.json"
    save_case(case, path)
    return case, path


def _with_machine(case: Case, machine: MachineFile | None, knotters: int | None) -> Case:
    if machine is not None:
        case = case.model_copy(update={"machine": machine.in_case()})
    if knotters is not None:
        known = case.machine.model_copy(update={"knotters": knotters})
        case = case.model_copy(update={"machine": known})
    return case


def _with_sheet(
    case: Case, reasoner: Reasoner, machine: MachineFile | None, sheet_path: Path | None
) -> Case:
    """The sheet's readings go before everything else that is known."""
    if sheet_path is None:
        return case
    from diagnose.sheet.evidence import sheet_readings
    from diagnose.sheet.text import slip_line

    readings, doubted = sheet_readings(sheet_path, reasoner.base, machine)
    for slip in doubted:
        click.echo(f"Left out: {slip_line(slip, reasoner.base)}", err=True)
    events = (*(r for r in readings if r not in case.events), *case.events)
    return case.model_copy(update={"events": events})


def _told(reasoner: Reasoner, case: Case, as_json: bool, numbers: bool, inches: bool) -> Diagnosis:
    """One diagnosis of a case as it is."""
    from diagnose.bale.report import diagnosis_data
    from diagnose.bale.summary import summary_lines
    from diagnose.session import diagnose

    version = reasoner.base.base.version
    if case.rules is not None and case.rules != version:
        click.echo(
            f"Note: case {case.id} was written with rules {case.rules}, these are {version}; "
            "its words are all known, its standing may differ.",
            err=True,
        )
    diagnosis = diagnose(reasoner, case)
    if as_json:
        click.echo(
            json.dumps(diagnosis_data(reasoner.base, diagnosis), ensure_ascii=False, indent=1)
        )
    else:
        click.echo("\n".join(summary_lines(reasoner.base, diagnosis, numbers, inches)))
    return diagnosis


def _asked(
    reasoner: Reasoner,
    case: Case,
    path: Path,
    machine: MachineFile | None,
    *,
    numbers: bool,
    inches: bool,
) -> Diagnosis:
    """The question session; ends with where the bale is kept."""
    from diagnose.bale.dialogue import Dialogue
    from diagnose.bale.saving import save_case

    keep: Callable[[Case], None] = lambda case: save_case(case, path)  # noqa: E731
    dialogue = Dialogue(
        reasoner, case, Terminal(), keep, numbers=numbers, inches=inches, machine=machine
    )
    diagnosis = dialogue.run()
    if dialogue.unsaved:
        from diagnose.bale.casefile import case_document

        click.echo("This bale could not be saved. Copy what follows; it is the whole case:")
        click.echo(json.dumps(case_document(dialogue.case), ensure_ascii=False))
    else:
        click.echo(f"Kept in {path}")
    return diagnosis
