"""Every error a user can meet. Each message says what is wrong, where, and what to do.

DiagnoseError                 exit code 2, shown as one message without a traceback
├── InputError                a file or a value that a person gave; carries file and line
│   ├── EventError            an entry of a case that cannot be so; carries its number and key
│   └── InputFaultsError      all faults of one rule base, sheet or case at once
└── StoreError                a file or database that could not be read or written
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path


class DiagnoseError(Exception):
    """Something the user can mend; the message is written for them."""

    exit_code = 2


class StoreError(DiagnoseError):
    """A file or database could not be read or written."""


@dataclass(frozen=True)
class Place:
    """Where in a file: the line from 1 (0: the file as a whole), and the keys that lead there."""

    path: Path | str
    line: int = 0
    keys: tuple[Hashable, ...] = ()

    @property
    def line_of_file(self) -> str:
        """`FILE:LINE`, without the keys."""
        return f"{self.path}:{self.line}" if self.line else str(self.path)

    def __str__(self) -> str:
        keys = ".".join(f'"{key}"' if " " in str(key) else str(key) for key in self.keys)
        return f"{self.line_of_file}: {keys}" if keys else self.line_of_file


class InputError(DiagnoseError):
    """A file or a value that cannot be used."""

    def __init__(self, what: str, place: Place | None = None, key: str = "") -> None:
        self.what = what
        self.place = place
        self.key = key
        """The field it is about, for whoever knows where that stands."""
        super().__init__(f"{place}: {what}" if place else what)


class EventError(InputError):
    """An entry of a case that cannot be so. `number` counts from 1."""

    def __init__(self, fault: InputError, number: int, kind: str) -> None:
        super().__init__(f"event {number} ({kind}): {fault.what}", None, fault.key)
        self.number, self.fault = number, fault.what


class InputFaultsError(InputError):
    """All faults found in one rule base, sheet or case, in the order of files and lines."""

    def __init__(self, faults: Iterable[InputError]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def nearest(wrong: str, known: Iterable[str]) -> str:
    """The nearest known name as a half-sentence, empty when nothing is near."""
    close = get_close_matches(wrong, list(known), n=1, cutoff=0.6)
    return f", did you mean '{close[0]}'?" if close else ""
