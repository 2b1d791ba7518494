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
from diagnose.errors import EventError, InputError, InputFaultsError, Place
from diagnose.knowledge.item import Item
from diagnose.knowledge.load import faults_of
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.yaml_file import Document, KeyPath, read_yaml


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


def read_case(path: Path, base: Knowledge | None = None) -> Case:
    """Read a case file. Raises InputError with every fault, each with its line.

    With `base`, ids that it does not know are faults too.
    """
    document = read_yaml(path)
    if document.faults:
        raise InputFaultsError(document.faults)
    if not isinstance(document.data, dict):
        raise InputError("holds no case; a case is a mapping with 'seen:' in it", Place(path, 1))
    schema: type[Case] | type[CaseSheet] = Case if "events" in document.data else CaseSheet
    try:
        if schema is Case:
            case = Case.model_validate({"id": path.stem, **document.data})
            keys: list[KeyPath] = [("events", number) for number in range(len(case.events))]
        else:
            case, keys = _case(CaseSheet.model_validate(document.data), path)
    except ValidationError as error:
        raise InputFaultsError(faults_of(error, document, (), schema)) from None
    if base is not None:
        _known_to(base, case, document, keys)
    return case


def _known_to(base: Knowledge, case: Case, document: Document, keys: list[KeyPath]) -> None:
    """Raises InputError at the place of the first entry that these rules do not know."""
    from diagnose.case.state import state_of

    try:
        state_of(base, case)
    except EventError as error:
        at = keys[error.number - 1]
        given = (*at, error.key)
        place = document.place(given if given in document.lines else at)
        raise InputError(error.fault, place) from None


def _case(sheet: CaseSheet, path: Path) -> tuple[Case, list[KeyPath]]:
    """The case that a sheet tells, and the keys that lead to each of its events."""
    told = list(_events(sheet))
    events = tuple(event for _, event in told)
    case = Case(
        id=sheet.id or path.stem,
        rules=sheet.rules,
        machine=sheet.machine,
        events=TypeAdapter(tuple[AnyEvent, ...]).validate_python(events),
    )
    return case, [keys for keys, _ in told]


def _events(sheet: CaseSheet) -> Iterator[tuple[KeyPath, Event]]:
    if sheet.safe:
        yield ("safe",), MadeSafe()
    for sign, given in sheet.seen.items():
        ties = given if isinstance(given, dict) else {None: given}
        for knotter, answers in ties.items():
            listed = [answers] if isinstance(answers, str) else answers
            at = ("seen", sign) if knotter is None else ("seen", sign, knotter)
            yield at, Seen(sign=sign, answers=tuple(listed), knotter=knotter)
    yield from ((("dont_know", n), NotKnown(sign=s)) for n, s in enumerate(sheet.dont_know))
    yield from ((("not_now", n), NotNow(step=step)) for n, step in enumerate(sheet.not_now))
    yield from ((("codes", n), Logged(code=code)) for n, code in enumerate(sheet.codes))
    yield from ((("readings", n), reading) for n, reading in enumerate(sheet.readings))
    yield from ((("checks", n), check) for n, check in enumerate(sheet.checks))
    for n, line in enumerate(sheet.mended):
        yield ("mended", n), Mended(cause=line.cause)
        if line.failed is not None:
            proved = Proved(cause=line.cause, clean_ties=line.clean_ties, failed=line.failed)
            yield ("mended", n), proved
            if line.failed and sheet.safe:
                yield ("mended", n), MadeSafe()


def case_document(case: Case) -> dict[str, Any]:
    """A case as plain data for a file: everything that was said, nothing derived."""
    data: dict[str, Any] = case.model_dump(mode="json", exclude_none=True)
    return data


__all__ = ["CaseSheet", "case_document", "read_case"]
