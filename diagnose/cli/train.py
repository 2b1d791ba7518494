"""`diagnose train`: the drill for new hands."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from diagnose.cli.options import Terminal, own_tolerances
from diagnose.errors import InputError
from diagnose.files import write_whole

if TYPE_CHECKING:
    from diagnose.case import Case
    from diagnose.knowledge import Knowledge
    from diagnose.train.course import Course
    from diagnose.train.lessons import Lessons
    from diagnose.train.store import Progress

FILE = click.Path(path_type=Path, dir_okay=False)


class Desk(NamedTuple):
    """Options that every part of the drill takes."""

    learner: str | None
    progress: Path | None
    rules: Path | None
    casebook: str | None
    seed: int | None
    inches: bool


@click.group(invoke_without_command=True)
@click.option("--learner", envvar="DIAGNOSE_LEARNER", help="Who practises.")
@click.option("--progress", type=FILE, help="Progress file; else the one in your data folder.")
@click.option("--number", help="Play this case, such as 4711, or 4711/2 with two faults.")
@click.option("--case", "case_id", help="Play this solved case of the casebook.")
@click.option("--solved", is_flag=True, help="Play any solved case of the casebook.")
@click.option("--casebook", envvar="DIAGNOSE_CASEBOOK", metavar="PLACE", help="Casebook to use.")
@click.option("--drop", is_flag=True, help="Give up the case left open; the next is dealt.")
@click.option("--inches", is_flag=True, help="Show lengths in inches.")
@click.option("--seed", type=int, hidden=True)
@click.option("--rules", type=click.Path(path_type=Path), help="Other rule base.")
@click.pass_context
def train(
    context: click.Context,
    learner: str | None,
    progress: Path | None,
    number: str | None,
    case_id: str | None,
    solved: bool,
    casebook: str | None,
    drop: bool,
    inches: bool,
    seed: int | None,
    rules: Path | None,
) -> None:
    """Practise on bad bales before the season does it with you.

    Without more: goes on with the case left open, or deals the one whose turn it is. You see
    what hangs from the bale; all else is asked or checked and costs its minutes.
    """
    context.obj = Desk(learner, progress, rules, casebook, seed, inches)
    if context.invoked_subcommand:
        return
    if sum(map(bool, (number, case_id, solved))) > 1:
        raise click.UsageError("--number, --case and --solved name three different cases")
    with _lessons(context.obj) as lessons:
        code = f"case:{case_id}" if case_id else number
        lessons.case(lessons.solved_case() if solved else code, drop=drop)


@train.command(short_help="What hangs from the bale: what went wrong?")
@click.option("--times", type=click.IntRange(1, 50), default=5, show_default=True)
@click.pass_obj
def look(desk: Desk, times: int) -> None:
    """What hangs from the bale: what went wrong? Short, for the first days."""
    with _lessons(desk) as lessons:
        lessons.look(times)


@train.command("set", short_help="A reading: which way to turn, and how far?")
@click.argument("setting", required=False)
@click.option("--machine", "machine_path", type=FILE, help="Machine file: your own adjusters.")
@click.pass_obj
def set_(desk: Desk, setting: str | None, machine_path: Path | None) -> None:
    """A reading: which way to turn, and how far? SETTING as in the rules, or words of its name."""
    from diagnose.train.dialogue import pick
    from diagnose.train.setting import adjustable

    with _lessons(desk, machine_path) as lessons:
        names = {name: body.name for name, body in adjustable(lessons.base).items()}
        lessons.set_up(pick(names, setting) if setting else None)


@train.command(short_help="Where you are strong and weak, in words and a picture.")
@click.option("--json", "as_json", is_flag=True, help="JSON for other programs.")
@click.pass_obj
def progress(desk: Desk, as_json: bool) -> None:
    """Where you are strong and weak, by what goes wrong at the tie."""
    from diagnose.say import data
    from diagnose.train.progress import progress_lines, strengths
    from diagnose.train.view import ProgressView

    with _kept(desk) as (base, course, kept):
        learner = _practised(desk, kept)
        practices, cards, now = kept.practices(learner), kept.cards(learner), datetime.now(UTC)
        if as_json:
            stands = strengths(course, practices, cards, now)
            words = {stand.mechanism: stand.word for stand in stands}
            _print_json(data(ProgressView(learner=learner, mechanisms=words)))
        else:
            _say(progress_lines(base, course, learner, practices, cards, now))


@train.command(short_help="For the foreman: one row for each learner.")
@click.pass_obj
def crew(desk: Desk) -> None:
    """One row for each learner: what was done, how safely, how well."""
    from diagnose.train.progress import crew_lines

    with _kept(desk) as (base, course, kept):
        everybody = {n: (kept.practices(n), kept.cards(n)) for n in kept.learners()}
        _say(crew_lines(base, course, everybody, datetime.now(UTC)))


@train.command()
@click.option("--page", "page_path", type=FILE, help="Write it as an HTML page to print.")
@click.pass_obj
def certificate(desk: Desk, page_path: Path | None) -> None:
    """What was practised, to keep or print. No licence, no proof of competence."""
    from diagnose.train.certificate import certificate_lines, certificate_of, certificate_page

    with _kept(desk) as (base, course, kept):
        learner = _practised(desk, kept)
        practices = kept.practices(learner)
        if not practices:
            raise InputError(f"{learner} has not finished anything yet")
        page = certificate_of(
            base, course, learner, practices, kept.cards(learner), datetime.now(UTC)
        )
        if page_path is None:
            _say(certificate_lines(page))
        else:
            write_whole(page_path, certificate_page(page))
            click.echo(f"Written to {page_path}. Print it on A4.")


@train.command()
@click.pass_obj
def course(desk: Desk) -> None:
    """The order of the course, from easy to hard."""
    from diagnose.say.text import table

    with _kept(desk) as (base, order, _):
        names = {name: body.name for name, body in base.mechanisms.items()}
        rows = [
            (
                "plain" if name in order.plain else "look-alike",
                f"{names[name]} (taken for: {names[order.likeness[name][0]]})",
            )
            for name in order.mechanisms
        ]
        _say([*table(rows), "", "Then two faults in one machine."])


@train.command("export")
@click.option("--out", type=FILE, help="Write to FILE instead of the screen.")
@click.pass_obj
def export_(desk: Desk, out: Path | None) -> None:
    """Everything kept of one learner, as JSON."""
    with _store(desk) as kept:
        data = kept.export(_practised(desk, kept))
    if out is None:
        _print_json(data)
    else:
        write_whole(out, json.dumps(data, indent=2, ensure_ascii=False) + "\n")
        click.echo(f"Written to {out}.")


@train.command()
@click.option("--yes", is_flag=True, help="Do not ask back.")
@click.pass_obj
def delete(desk: Desk, yes: bool) -> None:
    """Delete everything kept of one learner."""
    with _store(desk) as kept:
        learner = _practised(desk, kept)
        if not yes:
            click.confirm(f"Delete all that {learner} has practised?", abort=True)
        kept.delete(learner)
        click.echo(f"All that was kept of {learner} is deleted.")


@contextmanager
def _store(desk: Desk) -> Iterator[Progress]:
    """The progress file; rows of it that could not be read are told at the end."""
    from diagnose.train.store import Progress

    with Progress(desk.progress) as kept:
        yield kept
    for what in kept.unread.values():
        click.echo(f"{what}\n  It is kept as it stands, and set aside.", err=True)


@contextmanager
def _kept(desk: Desk) -> Iterator[tuple[Knowledge, Course, Progress]]:
    from diagnose.inference.tables import Tables
    from diagnose.knowledge import chosen_rules
    from diagnose.train.course import make_course

    base = chosen_rules(desk.rules)
    with _store(desk) as kept:
        yield base, make_course(Tables(base)), kept


@contextmanager
def _lessons(desk: Desk, machine_path: Path | None = None) -> Iterator[Lessons]:
    from diagnose.knowledge import chosen_rules
    from diagnose.session import Reasoner
    from diagnose.train.lessons import Lessons

    with _store(desk) as kept:
        base, machine = own_tolerances(chosen_rules(desk.rules), machine_path)
        yield Lessons(
            Reasoner(base), kept, _name(desk, kept), Terminal(), Random(desk.seed),
            _confirmed(desk.casebook), machine, desk.inches,
        )  # fmt: skip


def _confirmed(place: str | None) -> Callable[[], list[tuple[Case, str]]]:
    def read() -> list[tuple[Case, str]]:
        from diagnose.casebook.store import Casebook

        with Casebook(place) as book:
            return list(book.confirmed())

    return read


def _name(desk: Desk, kept: Progress) -> str:
    """Who practises: as told, the only one there is, or as typed."""
    if desk.learner and desk.learner.strip():
        return desk.learner.strip()
    names = kept.learners()
    if len(names) == 1:
        return names[0]
    if names:
        raise InputError(f"who is it? Type --learner NAME; kept here: {', '.join(names)}")
    try:
        typed = Terminal().ask("Your name, to keep your progress under: ").strip()
    except EOFError:
        typed = ""
    if not typed:
        raise InputError("a name is needed; type --learner NAME")
    return typed


def _practised(desk: Desk, kept: Progress) -> str:
    """The name of somebody who has practised already."""
    if not kept.learners():
        raise InputError("nobody has practised yet; 'diagnose train look' is a good first day")
    return kept.known(_name(desk, kept))


def _say(lines: list[str]) -> None:
    for line in lines:
        click.echo(line)


def _print_json(data: Any) -> None:
    click.echo(json.dumps(data, indent=2, ensure_ascii=False))
