"""`diagnose rules`: list, show, check, and begin a rule."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from diagnose.errors import InputFaultsError

if TYPE_CHECKING:
    from diagnose.knowledge import Knowledge
    from diagnose.rulebook.moved import Moved
    from diagnose.say import View
    from diagnose.session import Reasoner

rules_option = click.option(
    "--rules", "folder", type=click.Path(path_type=Path), help="Another rule base, an edited copy."
)
json_option = click.option("--json", "as_json", is_flag=True, help="JSON for other programs.")


@click.group()
def rules() -> None:
    """Read, check and extend the rule base: YAML files, edited without Python."""


def _load(folder: Path | None) -> Knowledge:
    from diagnose.knowledge import chosen_rules

    return chosen_rules(folder)


def _put(lines: list[str], view: View, as_json: bool) -> None:
    from diagnose.say import data

    click.echo(
        json.dumps(data(view), ensure_ascii=False, indent=1) if as_json else "\n".join(lines)
    )


@rules.command("list")
@click.argument("words", nargs=-1)
@rules_option
@json_option
def list_rules(words: tuple[str, ...], folder: Path | None, as_json: bool) -> None:
    """Everything in the rule base by kind, or what holds all WORDS."""
    from diagnose.rulebook.pages import listing, listing_lines
    from diagnose.rulebook.view import listing_view

    base = _load(folder)
    _put(listing_lines(listing(base, words)), listing_view(base, words), as_json)


@rules.command()
@click.argument("name")
@rules_option
@json_option
def show(name: str, folder: Path | None, as_json: bool) -> None:
    """One item: what you see, what to measure, why, and on what basis."""
    from diagnose.rulebook.pages import page_lines
    from diagnose.rulebook.view import item_view

    base = _load(folder)
    _put(page_lines(base, name), item_view(base, name), as_json)


@rules.command()
@rules_option
@json_option
@click.option("--casebook", help="Also replay the solved cases of this casebook.")
@click.option(
    "--before",
    type=click.Path(path_type=Path),
    help="The rules as they were: tells what the change has moved.",
)
def check(folder: Path | None, as_json: bool, casebook: str | None, before: Path | None) -> None:
    """Prove what can be proved of the rule base, and run every named bale.

    Where there are own rules, or with --before, it tells which bales and solved cases
    stand otherwise than without the change.
    """
    from diagnose.rulebook.pages import moved_lines, report_lines
    from diagnose.rulebook.proofs import prove
    from diagnose.rulebook.view import check_view
    from diagnose.session import Reasoner

    base = _load(folder)
    reasoner = Reasoner(base)
    report = prove(reasoner)
    lines, moved, replay = report_lines(base, report), None, None
    if before or base.own:
        moved = _moved(reasoner, before, casebook)
        against = str(before) if before else "the shipped rules"
        lines += ["", *moved_lines(base, moved, against)]
    if casebook is not None:
        from diagnose.cli.cases import replay_for_check

        replayed, replay = replay_for_check(reasoner, casebook)
        lines += ["", *replayed]
    _put(lines, check_view(report, moved, replay), as_json)
    if report.faults:
        raise InputFaultsError(report.faults)


def _moved(now: Reasoner, before: Path | None, casebook: str | None) -> tuple[Moved, ...]:
    """What moved against the rules `before`, else against the shipped ones without own rules."""
    from diagnose.cli.cases import solved_for_check
    from diagnose.knowledge import load_rules
    from diagnose.rulebook.moved import moved
    from diagnose.session import Reasoner

    solved = solved_for_check(casebook) if casebook is not None else []
    return moved(Reasoner(load_rules(before)), now, solved)


@rules.command()
@click.argument("name")
@click.option("--in", "path", type=click.Path(path_type=Path), help="Append to this rule file.")
@rules_option
def new(name: str, path: Path | None, folder: Path | None) -> None:
    """Begin the rule NAME, such as hook_rough/tails, to fill in."""
    from diagnose.rulebook.pages import append_rule, scaffold

    base = _load(folder)
    text = scaffold(base, name)
    if path is None:
        click.echo(text)
    else:
        append_rule(path, text)
        click.echo(f"Begun in {path}; fill it in and give its cause a bale that shows it.")
        click.echo("Then run: diagnose rules check --rules FOLDER")
