"""Case files: YAML or JSON, as a session saves them or as a person writes them.

A saved file holds `events`, in order. A written one may group them instead:

    machine: {name: Baler C, knotters: 6}
    safe: yes
    seen: {hangs: runs_back, tails: {4: one_frayed}}    # for all, or by knotter
    dont_know: [since]
    not_now: [look_at_hook]
    codes: [tie_missed]
    readings: [{setting: needle_travel, knotter: 4, value: 98, unit: mm}]
    checks: [{check: look_at_hook}, {check: look_at_retainer_disc, found: retainer_disc_packed}]
    mended: [{cause: retainer_disc_packed, clean_ties: 12, failed: true}]
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, TypeAdapter, ValidationError

from diagnose.case import (
    AnyEvent,
    Case,
    Checked,
    Event,
    Logged,
    Machine,
    MadeSafe,
    Mended,
    NotKnown,
    NotNow,
    Proved,
    Reading,
    Seen,
)
from diagnose.errors import InputError, InputFaultsError, Place
from diagnose.knowledge.item import Item
from diagnose.knowledge.load import faults_of
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.yaml_file import Document, read_yaml


def _yes_or_no(value: Any) -> Any:
    """YAML reads a bare yes or no as true or false; as an answer it is the word."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value) if isinstance(value, int | float) else value


Answer = Annotated[str, BeforeValidator(_yes_or_no)]
Given = Answer | list[Answer]


class MendedLine(Item):
    """A cause set right, and what came of it; without `failed` its proof is still open."""

    cause: str
    clean_ties: int = Field(default=0, ge=0)
    failed: bool | None = None


class CaseSheet(Item):
    """A case as a person writes it down."""

    id: str | None = None
    rules: str | None = None
    machine: Machine = Machine()
    safe: bool = False
    seen: dict[str, Given | dict[int, Given]] = {}
    dont_know: list[str] = []
    not_now: list[str] = []
    codes: list[str] = []
    readings: list[Reading] = []
    checks: list[Checked] = []
    mended: list[MendedLine] = []


def read_case(path: Path) -> Case:
    """Read a case file. Raises InputError with every fault, each with its line."""
    document = read_yaml(path)
    if document.faults:
        raise InputFaultsError(document.faults)
    if not isinstance(document.data, dict):
        raise InputError("holds no case; a case is a mapping with 'seen:' in it", Place(path, 1))
    schema: type[Case] | type[CaseSheet] = Case if "events" in document.data else CaseSheet
    try:
        if schema is Case:
            return Case.model_validate({"id": path.stem, **document.data})
        return _case(CaseSheet.model_validate(document.data), path)
    except ValidationError as error:
        raise InputFaultsError(faults_of(error, document, (), schema)) from None


def check_ids(case: Case, base: Knowledge, path: Path) -> None:
    """Raises InputError naming the line of the first id that the rule base does not know."""
    from diagnose.session.understanding import gather

    try:
        gather(base, case)
    except InputError as error:
        raise InputError(error.what, _place_of(error.what, path)) from None


def _place_of(what: str, path: Path) -> Place:
    """The first line that holds the name in quotes; the file as a whole when none does."""
    name = what.partition("'")[2].partition("'")[0]
    quoted = what.split("unknown ", 1)[-1].split("'")
    wrong = quoted[3] if "answer of" in what or "cause of" in what else name
    for number, line in enumerate(path.read_text(encoding="utf-8-sig").splitlines(), 1):
        if wrong in line:
            return Place(path, number)
    return Place(path)


def _case(sheet: CaseSheet, path: Path) -> Case:
    return Case(
        id=sheet.id or path.stem,
        rules=sheet.rules,
        machine=sheet.machine,
        events=TypeAdapter(tuple[AnyEvent, ...]).validate_python(tuple(_events(sheet))),
    )


def _events(sheet: CaseSheet) -> Iterator[Event]:
    if sheet.safe:
        yield MadeSafe()
    for sign, given in sheet.seen.items():
        ties = given if isinstance(given, dict) else {None: given}
        for knotter, answers in ties.items():
            listed = [answers] if isinstance(answers, str) else answers
            yield Seen(sign=sign, answers=tuple(listed), knotter=knotter)
    yield from (NotKnown(sign=sign) for sign in sheet.dont_know)
    yield from (NotNow(step=step) for step in sheet.not_now)
    yield from (Logged(code=code) for code in sheet.codes)
    yield from sheet.readings
    yield from sheet.checks
    for line in sheet.mended:
        yield Mended(cause=line.cause)
        if line.failed is not None:
            yield Proved(cause=line.cause, clean_ties=line.clean_ties, failed=line.failed)
            if line.failed and sheet.safe:
                yield MadeSafe()


def case_document(case: Case) -> dict[str, Any]:
    """A case as plain data for a file: everything that was said, nothing derived."""
    data: dict[str, Any] = case.model_dump(mode="json", exclude_none=True)
    return data


__all__ = ["CaseSheet", "Document", "case_document", "check_ids", "read_case"]
