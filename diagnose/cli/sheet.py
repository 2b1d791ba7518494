"""`diagnose sheet`: a measuring sheet read, graded, compared; or printed blank."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from diagnose.files import write_whole
from diagnose.knowledge import chosen_rules
from diagnose.knowledge.model import Knowledge
from diagnose.machine.profile import read_machine, with_manual
from diagnose.say import data
from diagnose.sheet.assess import Findings, assess
from diagnose.sheet.blank import blank_csv, blank_page
from diagnose.sheet.compare import Drift, compare
from diagnose.sheet.model import Sheet
from diagnose.sheet.read import read_sheet
from diagnose.sheet.slips import slips
from diagnose.sheet.text import drift_lines, report_lines, slip_line
from diagnose.sheet.view import sheet_view

FILE = click.Path(path_type=Path)


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("file", type=FILE, required=False)
@click.option("--machine", "machine_path", type=FILE, help="Machine file (YAML).")
@click.option("--before", "before_path", type=FILE, help="An earlier sheet of this machine.")
@click.option("--blank", "blank_path", type=FILE, help="Print a blank sheet for this machine file.")
@click.option("--page", "page_path", type=FILE, help="With --blank: write it as an HTML page.")
@click.option("--inches", is_flag=True, help="Show inches and pounds.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--rules", "rules_path", type=FILE, help="Folder of an edited rule base.")
def sheet(
    file: Path | None,
    machine_path: Path | None,
    before_path: Path | None,
    blank_path: Path | None,
    page_path: Path | None,
    inches: bool,
    as_json: bool,
    rules_path: Path | None,
) -> int:
    """Grade a measuring sheet: what to set, how far to turn, in which order.

    FILE is CSV (, ; or tab), YAML or JSON. Get one to fill in with --blank:

    \b
      # machine: Baler C
      # date: 2026-04-14
      # bales: 41200
      knotter;setting;value;unit;uncertainty
      1;hook_clamp_spring;33,1;mm;0,2
      2;needle_travel;4 1/8;in;

    A bale kept by `diagnose bale` is read too: its readings. Leave blank what was
    not measured. A value that looks like a slip is asked
    back; write 10.5! where it is meant. Without an uncertainty the usual gauge's
    counts. Exit code: 0 all in tolerance, 1 something to set or to measure again,
    2 could not be read.
    """
    knowledge = chosen_rules(rules_path)
    if blank_path:
        _blank(knowledge, blank_path, page_path, inches)
        return 0
    if file is None:
        raise click.UsageError("give a sheet (FILE), or --blank MACHINE for one to fill in")
    machine = read_machine(machine_path, knowledge) if machine_path else None
    filled = _ask_back(read_sheet(file, knowledge, machine), with_manual(knowledge, machine))
    findings = assess(filled, knowledge, machine)
    before = read_sheet(before_path, knowledge, machine) if before_path else None
    if as_json:
        _print_json(findings, before)
    else:
        drift = drift_lines(before, _drifts(findings, before), inches=inches) if before else ()
        for line in report_lines(findings, drift, inches=inches):
            click.echo(line)
    return 1 if findings.to_set or findings.on_limit or findings.asked else 0


def _drifts(findings: Findings, before: Sheet) -> list[Drift]:
    doubted = {slip.entry.key for slip in findings.asked}
    return compare(before, findings.sheet.without(doubted), findings.knowledge)


def _print_json(findings: Findings, before: Sheet | None) -> None:
    view = sheet_view(findings, _drifts(findings, before) if before else None)
    click.echo(json.dumps(data(view), indent=2, ensure_ascii=False))


def _ask_back(filled: Sheet, knowledge: Knowledge) -> Sheet:
    """Settle doubted cells with the person at the terminal; without one they stay doubted."""
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return filled
    for slip in slips(filled, knowledge):
        reading = slip.entry.reading
        click.echo(slip_line(slip, knowledge), err=True)
        answer = click.prompt(
            f"  1  {slip.meant:g} {reading.unit} is meant\n"
            f"  2  it is {reading.value:g} {reading.unit}\n"
            "  3  don't know, leave it out\n",
            type=click.Choice(["1", "2", "3"]),
            show_choices=False,
            err=True,
        )
        if answer != "3":
            value = slip.meant if answer == "1" else reading.value
            filled = filled.with_value(slip.entry.key, value)
    return filled


def _blank(knowledge: Knowledge, path: Path, page: Path | None, inches: bool) -> None:
    machine = read_machine(path, knowledge)
    if page is None:
        click.echo(blank_csv(knowledge, machine), nl=False)
        return
    write_whole(page, blank_page(knowledge, machine, inches=inches))
    click.echo(f"{page}: sheet to fill in for {machine.name}. Print it on A4.")
