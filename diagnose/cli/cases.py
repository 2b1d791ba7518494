"""`diagnose cases`: the casebook on the command line."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from diagnose.cli.options import casebook_option, no_learning_option
from diagnose.errors import InputError, StoreError

if TYPE_CHECKING:
    from diagnose.case import Case
    from diagnose.casebook.replay import Solved
    from diagnose.casebook.store import Casebook
    from diagnose.say import View
    from diagnose.session import Reasoner

FILES = click.Path(path_type=Path, dir_okay=False)
rules_option = click.option(
    "--rules", "rules_folder", type=click.Path(path_type=Path), help="Other rule base."
)
json_option = click.option("--json", "as_json", is_flag=True, help="JSON for other programs.")
REJECTS = 3


@click.group()
def cases() -> None:
    """The casebook: every bad bale solved, kept, shared, learnt from and replayed."""


@contextmanager
def _open(place: str | None, new: bool = False) -> Iterator[Casebook]:
    """Open a casebook; only what writes cases (`new`) makes one where there is none.

    Rows that could not be read are told at the end.
    """
    from diagnose.casebook.database import is_server
    from diagnose.casebook.place import default_path
    from diagnose.casebook.report import unread_lines
    from diagnose.casebook.store import Casebook

    where = place or default_path()
    if not new and not is_server(where) and not Path(where).expanduser().exists():
        raise StoreError(
            f"{where}: no casebook there yet; a bale walked to its end begins one, or: "
            "diagnose cases add FILE"
        )
    with Casebook(where) as book:
        yield book
    for what in unread_lines(book.unread):
        click.echo(what, err=True)


def _reasoner(folder: Path | None) -> Reasoner:
    from diagnose.knowledge import chosen_rules
    from diagnose.session import Reasoner

    return Reasoner(chosen_rules(folder))


def _put(lines: list[str], view: Callable[[], View], as_json: bool) -> None:
    if not as_json:
        click.echo("\n".join(lines))
        return
    from diagnose.say import data

    click.echo(json.dumps(data(view()), ensure_ascii=False, indent=1))


@cases.command()
@click.argument("files", nargs=-1, required=True, type=FILES)
@casebook_option
@rules_option
def add(files: tuple[Path, ...], casebook: str | None, rules_folder: Path | None) -> None:
    """Put case FILES into the casebook.

    YAML or JSON, as `diagnose bale --case` reads them. Twice is the same as once.
    """
    from diagnose.bale.casefile import read_case
    from diagnose.casebook.report import added_lines

    base = _reasoner(rules_folder).base
    read = [read_case(path, base) for path in files]
    with _open(casebook, new=True) as book:
        click.echo("\n".join(added_lines(book.add(*read))))


@cases.command("list")
@casebook_option
@rules_option
@json_option
def list_cases(casebook: str | None, rules_folder: Path | None, as_json: bool) -> None:
    """Every case on a line, oldest first."""
    _list((), casebook, rules_folder, as_json)


@cases.command()
@click.argument("words", nargs=-1, required=True)
@casebook_option
@rules_option
@json_option
def search(
    words: tuple[str, ...], casebook: str | None, rules_folder: Path | None, as_json: bool
) -> None:
    """Cases that hold all WORDS.

    Machine, cause, part, what was seen, remarks, dates such as 2026-07, names.
    """
    _list(words, casebook, rules_folder, as_json)


def _list(words: tuple[str, ...], place: str | None, folder: Path | None, as_json: bool) -> None:
    from diagnose.casebook import database
    from diagnose.casebook.report import list_lines
    from diagnose.casebook.search import search as find

    base = _reasoner(folder).base
    with _open(place) as book:
        found = find(base, book.entries(), words)
        shown = database.shown(book.where)
    from diagnose.casebook.view import cases_view

    _put(list_lines(base, found, shown), lambda: cases_view(found), as_json)


@cases.command()
@click.argument("case_id")
@casebook_option
@rules_option
@json_option
def show(case_id: str, casebook: str | None, rules_folder: Path | None, as_json: bool) -> None:
    """One case in full; the beginning of its id is enough."""
    from diagnose.casebook.report import show_lines
    from diagnose.casebook.view import case_view

    with _open(casebook) as book:
        entry = book.find(case_id)
    if as_json:
        _put([], lambda: case_view(entry), True)
    else:
        reasoner = _reasoner(rules_folder)
        click.echo("\n".join(show_lines(entry, lambda case: _told(reasoner, case))))


def _told(reasoner: Reasoner, case: Case) -> list[str]:
    from diagnose.say import lines
    from diagnose.session import diagnose
    from diagnose.views.record import record_view

    return lines(record_view(reasoner.base, diagnose(reasoner, case)).happened())


@cases.command()
@click.argument("case_id")
@click.argument("copy")
@casebook_option
def settle(case_id: str, copy: str, casebook: str | None) -> None:
    """Of a conflict, let COPY stand and set its rivals aside. They are kept."""
    with _open(casebook) as book:
        entry = book.find(case_id)
        chosen = [c.content for c in entry.copies if c.content.startswith(copy)]
        if len(chosen) != 1:
            raise InputError(f"'{copy}' is not one copy of {entry.id}; see: diagnose cases show")
        book.set_aside(*(c.content for c in entry.copies if c.content != chosen[0]))
    click.echo(f"{entry.id}: copy {chosen[0][:12]} stands.")


@cases.command("export")
@click.option("--out", type=FILES, help="Write to this file instead of the screen.")
@click.option("--names", is_flag=True, help="With the names of technicians and customers.")
@casebook_option
def export_cases(out: Path | None, names: bool, casebook: str | None) -> None:
    """The whole casebook as JSON lines, to share.

    Names of technicians and customers are left out unless asked for.
    """
    from diagnose.casebook.exchange import pack, to_lines
    from diagnose.files import write_whole

    with _open(casebook) as book:
        parcel = pack(book, names)
    text = "".join(line + "\n" for line in to_lines(parcel))
    if out is None:
        click.echo(text, nl=False)
    else:
        write_whole(out, text)
        click.echo(f"{len(parcel.cases)} copies of cases written: {out}")


@cases.command("import")
@click.argument("files", nargs=-1, required=True, type=FILES)
@casebook_option
def import_cases(files: tuple[Path, ...], casebook: str | None) -> None:
    """Take in FILES: JSON lines, or other casebooks.

    Nothing is lost and twice is the same as once; contradictions are shown, both kept.
    """
    from diagnose.casebook.exchange import merge, read_parcel
    from diagnose.casebook.report import merged_lines

    rejected = 0
    parcels = [read_parcel(path) for path in files]
    with _open(casebook, new=True) as book:
        for path, parcel in zip(files, parcels, strict=True):
            merged = merge(book, parcel)
            rejected += len(merged.rejected)
            click.echo("\n".join([f"{path}:", *("  " + line for line in merged_lines(merged))]))
    if rejected:
        sys.exit(REJECTS)


@cases.command()
@click.option("--type", "machine_type", help="For this machine type; else over all types.")
@casebook_option
@rules_option
@json_option
def learned(
    machine_type: str | None, casebook: str | None, rules_folder: Path | None, as_json: bool
) -> None:
    """What cases have moved: commonness and minutes."""
    from diagnose.casebook.learning import learn
    from diagnose.casebook.report import learned_lines

    base = _reasoner(rules_folder).base
    with _open(casebook) as book:
        found = learn(base, book.confirmed(), machine_type)
    from diagnose.casebook.view import learned_view

    _put(learned_lines(base, found), lambda: learned_view(found), as_json)


@cases.command()
@click.option("--quick", is_flag=True, help="Leave out the minutes, which take longest.")
@no_learning_option
@casebook_option
@rules_option
@json_option
def replay(
    quick: bool,
    no_learning: bool,
    casebook: str | None,
    rules_folder: Path | None,
    as_json: bool,
) -> None:
    """Every solved case through the present rules.

    How often its cause was suspected first, how good the chances were, minutes against the
    record, a printed chart and the clock, and what rule changes since last time did.
    """
    from diagnose.casebook.regression import regress
    from diagnose.casebook.replay_report import regression_lines
    from diagnose.casebook.view import replay_view

    reasoner = _reasoner(rules_folder)
    with _open(casebook) as book:
        walk = None if quick else _with_progress
        found = regress(reasoner, book, learning=not no_learning, walk=walk)
    base = reasoner.base
    _put(regression_lines(base, found), lambda: replay_view(base, found), as_json)


def solved_for_check(casebook: str) -> list[tuple[Case, str]]:
    """Solved cases as they stood before their first check, and the causes confirmed in them."""
    from diagnose.casebook.replay import opening

    with _open(casebook) as book:
        return [(opening(case), cause) for case, cause in book.confirmed()]


def replay_for_check(reasoner: Reasoner, casebook: str) -> tuple[list[str], dict[str, object]]:
    """The regression test of `diagnose rules check --casebook`, as lines and as data."""
    from diagnose.casebook.regression import regress
    from diagnose.casebook.replay_report import regression_lines
    from diagnose.casebook.view import replay_view
    from diagnose.say import data

    with _open(casebook) as book:
        found = regress(reasoner, book)
    return regression_lines(reasoner.base, found), data(replay_view(reasoner.base, found))


def _with_progress(solved: list[Solved]) -> Iterator[Solved]:
    with click.progressbar(solved, label="Walking the cases", file=sys.stderr) as walking:
        yield from walking
