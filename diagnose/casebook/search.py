"""Finding cases by words, machine, cause and date."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence

from diagnose.casebook.line import to_line
from diagnose.casebook.versions import Entry
from diagnose.knowledge.model import Knowledge


def search(base: Knowledge, entries: Iterable[Entry], words: Sequence[str]) -> list[Entry]:
    """Cases that hold every word somewhere: in ids, names, remarks, or what a sign or cause

    is called. `2026-07` finds July's; case does not matter.
    """
    wanted = [word.lower() for word in words]
    return [entry for entry in entries if all(w in _text(base, entry) for w in wanted)]


def _text(base: Knowledge, entry: Entry) -> str:
    found: list[str] = []
    for case in entry.cases:
        _collect(json.loads(to_line(case)), found)
    names = [base.causes[word].name for word in found if word in base.causes]
    names += [base.settings[word].name for word in found if word in base.settings]
    asked = [base.signs[word].ask for word in found if word in base.signs]
    done = [base.checks[word].do for word in found if word in base.checks]
    spoken = [word.replace("_", " ") for word in found]
    return "\n".join([*found, *spoken, *names, *asked, *done, entry.confirmed or ""]).lower()


def _collect(data: object, found: list[str]) -> None:
    if isinstance(data, dict):
        for value in data.values():
            _collect(value, found)
    elif isinstance(data, list):
        for value in data:
            _collect(value, found)
    elif data is not None:
        found.append(str(data))
