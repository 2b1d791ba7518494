"""`diagnose twine`: runnage, strand force against the knot strength, metres and balls."""

from __future__ import annotations

import json
from pathlib import Path

import click

from diagnose.knowledge import chosen_rules
from diagnose.machine.profile import read_machine
from diagnose.say import data
from diagnose.twine.report import TwineInputs, TwineReport, twine_report
from diagnose.twine.report import lines as report_lines

FILE = click.Path(path_type=Path)


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--machine", "machine_path", type=FILE, help="Machine file: bale, strands, label.")
@click.option("--runnage", help="130 m/kg, 190 ft/lb or 7700 tex.")
@click.option("--knot-strength", help="As declared on the twine's own label: 1500 N, 340 lbf.")
@click.option("--pressure", help="Pressure on the end of the bale: 10 kPa, 1.5 psi.")
@click.option("--density", help="Density instead of pressure: 190 kg/m3. Needs two --known.")
@click.option("--known", multiple=True, help="A known point: '150 kg/m3 = 8 kPa'.")
@click.option("--bale", help="Width x height x length: '1200 x 900 x 2400 mm'.")
@click.option("--strands", type=click.IntRange(1, 12), help="Strands around the bale.")
@click.option("--bales", type=click.IntRange(1), help="Bales of the job.")
@click.option("--ball", help="Weight of one ball: 10 kg, 22 lb.")
@click.option("--allowance", help="Twine in knots and tails of one strand [400 mm, judgement].")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def twine(
    machine_path: Path | None, known: tuple[str, ...], as_json: bool, **given: str | int | None
) -> int:
    """Will the knot hold, and how much twine does the job take?

    Nothing is taken from a table: knot strength and runnage come from the twine's own label.
    Exit code: 0 fits or not to be said, 1 the force is more than the knot holds.
    """
    machine = read_machine(machine_path, chosen_rules(None)) if machine_path else None
    report = twine_report(TwineInputs.read(given, known, machine))
    if as_json:
        click.echo(json.dumps(data(report.view()), indent=2, ensure_ascii=False))
    else:
        for line in report_lines(report):
            click.echo(line)
    return _exit_code(report)


def _exit_code(report: TwineReport) -> int:
    return 1 if report.margin is not None and report.margin < 1 else 0
