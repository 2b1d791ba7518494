"""A measuring sheet as frozen data: what was measured where, and what was left blank."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from diagnose.case import Reading
from diagnose.errors import Place


@dataclass(frozen=True)
class Entry:
    """One filled cell. `meant` is true where the writer marked an unlikely value with `!`."""

    reading: Reading
    place: Place
    meant: bool = False

    @property
    def key(self) -> tuple[str, int | None]:
        return self.reading.setting, self.reading.knotter


@dataclass(frozen=True)
class Sheet:
    """One sheet, with its entries in the order of the file."""

    path: Path
    entries: tuple[Entry, ...]
    machine: str | None = None
    date: date | None = None
    bales: int | None = None
    """Bale counter of the machine when it was measured."""
    knotters: int | None = None

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The events that a session takes in as evidence."""
        return tuple(entry.reading for entry in self.entries)

    def without(self, keys: set[tuple[str, int | None]]) -> Sheet:
        """The sheet less the cells that were asked back and not answered."""
        return replace(self, entries=tuple(e for e in self.entries if e.key not in keys))

    def with_value(self, key: tuple[str, int | None], value: float) -> Sheet:
        """The sheet with one cell set to the value its writer confirmed, in the same unit."""
        return replace(
            self,
            entries=tuple(
                replace(
                    entry, meant=True, reading=entry.reading.model_copy(update={"value": value})
                )
                if entry.key == key
                else entry
                for entry in self.entries
            ),
        )
