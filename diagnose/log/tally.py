"""The books of a batch: read = used + ignored + rejected, each with its reason."""

from __future__ import annotations

import csv
import io
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from diagnose.files import write_whole

KEPT_REJECTS = 100_000
"""Rejects kept with their text; beyond that they are only counted, and the tally says so."""
NOT_MAPPED = "code not in the code table"
TWICE = "delivered twice"
MOST = 0.5
"""A file of which more than this share of lines was rejected judges no machine. Judgement."""


@dataclass(frozen=True)
class Reject:
    """One line that cannot be read: where it stands, why, and how it begins."""

    file: str
    line: int
    reason: str
    raw: str = ""


@dataclass(frozen=True)
class MostlyRejected:
    """A file most of whose lines could not be read, and the first of them."""

    file: str
    rejected: int
    read: int
    first: Reject

    def __str__(self) -> str:
        first = self.first
        return (
            f"{self.rejected:,} of {self.read:,} lines of {self.file} could not be read; the first "
            f"is line {first.line}: {first.reason}"
        )


@dataclass
class Unmapped:
    """A code nobody mapped. For a trouble code `raw` is its four bytes."""

    count: int = 0
    raw: bytes = b""
    note: str = ""


@dataclass
class Tally:
    """Counts of lines (bus logs: frames). `used` follows, so that nothing can go missing."""

    read: int = 0
    ignored: Counter[str] = field(default_factory=Counter)
    rejected: int = 0
    rejects: list[Reject] = field(default_factory=list)
    unmapped: dict[str, Unmapped] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    """What was mended or assumed while reading, for the user to judge."""
    unreadable: list[str] = field(default_factory=list)
    """Files of which nothing could be read."""
    mostly_rejected: list[MostlyRejected] = field(default_factory=list)
    doubted: set[str] = field(default_factory=set)
    """Machines of the entries that were read in such files: their silence is no all-clear."""

    @property
    def used(self) -> int:
        return self.read - sum(self.ignored.values()) - self.rejected

    def ignore(self, reason: str, count: int = 1) -> None:
        if count:
            self.ignored[reason] += count

    def reject(self, path: Path, line: int, reason: str, raw: bytes = b"") -> None:
        """Count one line (already counted as read) as rejected and keep its beginning."""
        self.rejected += 1
        if len(self.rejects) < KEPT_REJECTS:
            text = raw[:200].decode("utf-8", "replace").rstrip("\r\n")
            self.rejects.append(Reject(str(path), line, reason, text))

    def not_mapped(self, code: str, count: int, raw: bytes = b"", note: str = "") -> None:
        entry = self.unmapped.setdefault(code, Unmapped(raw=raw, note=note))
        entry.count += count

    def note(self, text: str) -> None:
        if text not in self.notes:
            self.notes.append(text)


def write_rejects(path: Path, rejects: list[Reject]) -> None:
    """Rejects as CSV: file, line, reason, the line's beginning. Raises StoreError."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(("file", "line", "reason", "text"))
    writer.writerows((r.file, r.line, r.reason, r.raw) for r in rejects)
    write_whole(path, text.getvalue())
