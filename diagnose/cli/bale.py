"""`diagnose bale`: the question session, or one diagnosis of a case file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click

from diagnose.cli.options import (
    Background,
    Terminal,
    casebook_option,
    no_learning_option,
    own_tolerances,
)
from diagnose.errors import DiagnoseError

if TYPE_CHECKING:
    from diagnose.case import Case
    from diagnose.knowledge import Knowledge
    from diagnose.machine.profile import MachineFile
    from diagnose.session import Diagnosis, Reasoner

FILE = click.Path(path_type=Path, dir_okay=False)


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
@casebook_option
@no_learning_option
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
    casebook: str | None,
    no_learning: bool,
) -> None:
    """From a bad bale to the one part or setting that is wrong.

    Asks what you see and says what to check next, with its tolerance, its minutes and why.
    Every answer is saved as it is given; `--resume` goes on where you left.
    """
    from diagnose.knowledge import chosen_rules

    if as_json and case_path is None:
        raise click.UsageError("--json goes with --case FILE")
    base, machine = own_tolerances(chosen_rules(rules_folder), machine_path)
    known = Given(machine, sheet_path, knotters, numbers, inches, casebook, not no_learning)
    if case_path is not None:
        reasoner, diagnosis = _told(base, case_path, known, as_json)
    else:
        found = _asked(base, resume, save_path, known)
        if found is None:
            return
        reasoner, diagnosis = found
    if record_path is not None:
        from diagnose.bale.record import write_record

        write_record(reasoner.base, diagnosis, record_path)
        click.echo(f"Record written: {record_path}", err=as_json)


class Given(NamedTuple):
    """What was given on the command line besides the case."""

    machine: MachineFile | None
    sheet: Path | None
    knotters: int | None
    numbers: bool
    inches: bool
    casebook: str | None
    learning: bool

    def reasoner(self, base: Knowledge, case: Case) -> Reasoner:
        """The rules, taught by the casebook unless that is not wanted; the tables made ready."""
        from diagnose.casebook.use import reasoner_taught

        reasoner = reasoner_taught(base, self.casebook, case.machine.type, self.learning)
        _ = reasoner.problem
        return reasoner

    def put_into(self, case: Case, base: Knowledge) -> Case:
        """The case with its machine, and the sheet's readings before all else that is known."""
        machine = self.machine.in_case() if self.machine else case.machine
        if self.knotters is not None:
            machine = machine.model_copy(update={"knotters": self.knotters})
        case = case.model_copy(update={"machine": machine})
        if self.sheet is None:
            return case
        from diagnose.sheet.evidence import sheet_readings
        from diagnose.sheet.text import slip_line

        readings, doubted = sheet_readings(self.sheet, base, self.machine)
        for slip in doubted:
            click.echo(f"Left out: {slip_line(slip, base)}", err=True)
        events = (*(r for r in readings if r not in case.events), *case.events)
        return case.model_copy(update={"events": events})


def _told(base: Knowledge, path: Path, known: Given, as_json: bool) -> tuple[Reasoner, Diagnosis]:
    """One diagnosis of a case as it is."""
    from diagnose.bale.casefile import read_case
    from diagnose.say import data, text
    from diagnose.session import diagnose
    from diagnose.views.diagnosis import diagnosis_view

    case = read_case(path, base)
    if case.rules not in (None, base.base.version):
        click.echo(
            f"Note: case {case.id} was written with rules {case.rules}, these are "
            f"{base.base.version}; its words are all known, its standing may differ.",
            err=True,
        )
    case = known.put_into(case, base)
    reasoner = known.reasoner(base, case)
    diagnosis = diagnose(reasoner, case)
    view = diagnosis_view(
        base, diagnosis, numbers=known.numbers, inches=known.inches, machine=known.machine
    )
    if as_json:
        click.echo(json.dumps(data(view), ensure_ascii=False, indent=1))
    else:
        click.echo("\n".join(text(view)))
    return reasoner, diagnosis


def _asked(
    base: Knowledge, resume: bool, save_path: Path | None, known: Given
) -> tuple[Reasoner, Diagnosis] | None:
    """The question session; None when it was left before it began."""
    from diagnose.bale.opening import made_safe, new_case, saved_case
    from diagnose.bale.saving import save_case
    from diagnose.case import Machine

    opened = saved_case(base, save_path) if resume else new_case(base, save_path, Machine())
    if opened.note:
        click.echo(opened.note)
    terminal, path = Terminal(), opened.path
    # The tables are made ready while the cautions are read, the engine while the first question is.
    first = known.put_into(opened.case, base)
    ready = Background(lambda: known.reasoner(base, first))
    case: Case | None = first
    if resume or not opened.case.events:
        case = made_safe(base, first, terminal, lambda case: save_case(case, path))
    if case is None:
        click.echo(f"Kept in {path}")
        return None
    from diagnose.bale.dialogue import Dialogue

    dialogue = Dialogue(
        ready.result(),
        case,
        terminal,
        lambda case: save_case(case, path),
        numbers=known.numbers,
        inches=known.inches,
        machine=known.machine,
    )
    Background(lambda: dialogue.reasoner.engine)
    diagnosis = dialogue.run()
    if dialogue.unsaved:
        from diagnose.bale.casefile import case_document

        click.echo("This bale could not be saved. Copy what follows; it is the whole case:")
        click.echo(json.dumps(case_document(dialogue.case), ensure_ascii=False))
    else:
        click.echo(f"Kept in {path}")
    if diagnosis.step.kind in ("cured", "call"):
        _put_into_casebook(dialogue.case, path, known.casebook)
    return dialogue.reasoner, diagnosis


def _put_into_casebook(case: Case, path: Path, place: str | None) -> None:
    """The case is safe in its own file; a casebook that cannot be opened is only told."""
    from diagnose.casebook.report import added_lines
    from diagnose.casebook.use import keep

    try:
        click.echo("\n".join(added_lines([keep(case, place)])))
    except DiagnoseError as fault:
        click.echo(f"Not in the casebook: {fault}. Later: diagnose cases add {path}", err=True)
