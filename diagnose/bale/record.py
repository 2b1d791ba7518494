"""The record of a bad bale for the customer's file: as text, or as one page to print."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from diagnose.bale import wording
from diagnose.case import (
    AnyEvent,
    Case,
    Checked,
    Counted,
    Failed,
    Logged,
    Mended,
    Noted,
    NotKnown,
    NotNow,
    Proved,
    Reading,
    Seen,
)
from diagnose.errors import InputError
from diagnose.files import write_whole
from diagnose.knowledge.model import Knowledge
from diagnose.say.page import render
from diagnose.say.text import WIDTH, in_columns, table, wrapped
from diagnose.session import Diagnosis

SUSPECTS = 5


@dataclass(frozen=True)
class Part:
    """A titled list of rows."""

    title: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Record:
    """Everything a record says, in the order it is printed."""

    title: str
    outcome: str
    head: tuple[tuple[str, str], ...]
    parts: tuple[Part, ...]
    suspects: tuple[tuple[str, ...], ...]
    definitions: str
    cautions: tuple[str, ...]
    basis: str


def write_record(base: Knowledge, diagnosis: Diagnosis, path: Path) -> None:
    """Write the record; the ending chooses: `.html` a page, `.txt` text. Raises InputError."""
    record = record_of(base, diagnosis)
    match path.suffix.lower():
        case ".html" | ".htm":
            write_whole(path, render("bale/record.html", record=record))
        case ".txt":
            with in_columns(WIDTH):
                write_whole(path, "\n".join(record_lines(record)) + "\n")
        case _:
            raise InputError(f"a record is a .html or a .txt file, not '{path.name}'")


def record_of(base: Knowledge, diagnosis: Diagnosis) -> Record:
    case = diagnosis.case
    cautions = dict.fromkeys((*base.setups[base.start_setup].cautions, *diagnosis.step.cautions))
    return Record(
        title=f"Bad bale: {case.machine.name or 'baler'}",
        outcome=_outcome(base, diagnosis),
        head=tuple(_head(base, case)),
        parts=(
            Part("What was seen", tuple(_seen(base, case))),
            Part("What was measured and checked", tuple(_checked(base, case))),
            Part("Out, and not fitting this tie: set it last", tuple(_noted(base, diagnosis))),
            Part("What was set, and how it proved", tuple(_mended(base, case))),
            Part("Remarks", tuple((e.text,) for e in case.events if isinstance(e, Noted))),
        ),
        suspects=tuple(_suspects(base, diagnosis)),
        definitions="; ".join(f"{w}: {text}" for w, (_, text) in base.standings.items()) + ".",
        cautions=tuple(
            f"{base.cautions[n].danger} {base.cautions[n].first}"
            for n in cautions
            if n in base.cautions
        ),
        basis=f"Rule base {base.base.name}, version {base.version}. {wording.rests_on(diagnosis)}",
    )


def happened_lines(record: Record) -> list[str]:
    """What happened, as text: outcome, what was seen, checked and set, remarks."""
    lines = [*wrapped(record.title), *wrapped(record.outcome), "", *table(record.head)]
    for part in record.parts:
        if part.rows:
            lines += ["", part.title]
            for row in part.rows:
                lines += wrapped(" | ".join(cell for cell in row if cell), first="  - ")
    return lines


def record_lines(record: Record) -> list[str]:
    """The record as text."""
    lines = happened_lines(record)
    lines += ["", "Suspects at the end"]
    for name, standing, because, against in record.suspects:
        lines += wrapped(f"{name}: {standing}", first="  - ")
        lines += wrapped(because, first="      because: ") if because else []
        lines += wrapped(against, first="      against: ") if against else []
    lines += ["", *wrapped(record.definitions), "", "Before anyone works on it again"]
    for text in record.cautions:
        lines += wrapped(text, first="  ! ")
    return [*lines, "", *wrapped(record.basis)]


def _outcome(base: Knowledge, diagnosis: Diagnosis) -> str:
    step = diagnosis.step
    name = base.causes[step.id].name if step.id in base.causes else ""
    if step.kind == "cured":
        return f"Cured: {wording.proved_text(base, diagnosis)}"
    if step.kind == "mend":
        return f"Found, not yet set: {name}."
    if step.kind == "prove":
        return f"Set, not yet proved: {name}. It takes {step.bales} clean bales in a row."
    first = next(s for s in diagnosis.suspects if s.id != base.roles.something_else)
    return f"Not found yet. Nearest: {base.causes[first.id].name}, {first.standing}."


def _head(base: Knowledge, case: Case) -> Iterator[tuple[str, str]]:
    yield "Case", case.id
    machine = case.machine
    if machine.type or machine.knotters:
        knotters = f"{machine.knotters} knotters" if machine.knotters else ""
        yield "Machine", ", ".join(filter(None, [machine.name, machine.type, knotters]))
    if case.opened:
        yield "Begun", f"{case.opened:%Y-%m-%d %H:%M}"
    if case.technician:
        yield "By", case.technician
    if case.customer:
        yield "For", case.customer
    taken = sum(event.minutes or 0 for event in case.events)
    if taken >= 1:
        yield "Taken", f"{taken:.0f} minutes in all"
    if case.rules and case.rules != base.base.version:
        yield "Rules then", case.rules


def _where(event: AnyEvent) -> str:
    knotter = getattr(event, "knotter", None)
    return f"knotter {knotter}" if knotter else ""


def _seen(base: Knowledge, case: Case) -> Iterator[tuple[str, ...]]:
    for event in case.events:
        match event:
            case Seen():
                answers = base.signs[event.sign].answers
                text = " or ".join(answers[a] for a in event.answers)
                yield base.signs[event.sign].ask, text, _where(event)
            case NotKnown():
                yield base.signs[event.sign].ask, "not known", _where(event)
            case Logged():
                yield "Logged", base.codes[event.code].says, _where(event)


def _checked(base: Knowledge, case: Case) -> Iterator[tuple[str, ...]]:
    for event in case.events:
        match event:
            case Reading():
                setting = base.settings[event.setting]
                right = wording.tolerance_text(setting)
                joint = ". " if setting.example else "; right is "
                yield setting.name, f"{event.value:g} {event.unit}{joint}{right}", _where(event)
            case Checked():
                found = base.causes[event.found].name if event.found else "nothing wrong"
                yield base.checks[event.check].do, found, _where(event)
            case NotNow():
                name = event.step
                text = base.checks[name].do if name in base.checks else base.signs[name].ask
                yield text, "not possible then", _where(event)


def _noted(base: Knowledge, diagnosis: Diagnosis) -> Iterator[tuple[str, ...]]:
    for doubtful in diagnosis.known.doubtful:
        if doubtful.cause:
            yield base.settings[doubtful.setting].name, base.causes[doubtful.cause].name


def _mended(base: Knowledge, case: Case) -> Iterator[tuple[str, ...]]:
    for event in case.events:
        match event:
            case Mended():
                change = ""
                if event.after is not None:
                    before = f"from {event.before:g} " if event.before is not None else ""
                    change = f"{before}to {event.after:g} {event.unit}"
                did = "Set too, not fitting this tie" if event.aside else "Set right"
                yield did, wording.cause_at(base, event.cause, event.knotter), change
            case Proved() | Counted():
                failed = isinstance(event, Proved) and event.failed
                result = "failed again after" if failed else "no failure in"
                clean = wording.clean_text(base, case, event.cause, event.clean_ties)
                name = wording.cause_at(base, event.cause, event.knotter)
                yield "Proof", name, f"{result} {clean}"
            case Failed():
                yield "Failed too", f"a tie at knotter {event.knotter}", ""


def _suspects(base: Knowledge, diagnosis: Diagnosis) -> Iterator[tuple[str, ...]]:
    named = [s for s in diagnosis.suspects if s.id != base.roles.something_else][:SUSPECTS]
    for suspect in (*named, *(s for s in diagnosis.suspects if s.id == base.roles.something_else)):
        yield (
            base.causes[suspect.id].name,
            suspect.standing,
            "; ".join(reason.what for reason in suspect.because[:3]),
            "; ".join(reason.what for reason in suspect.against[:3]),
        )
