"""Casebooks as JSON lines: export, import, and merging one casebook into another.

The file is UTF-8, one JSON object a line, in one of two forms:

    {"events":[...],"format":1,"id":"...",...}    a copy of a case (diagnose/case.py)
    {"id":"...","set_aside":"<sha-256>"}          this copy lost a conflict

Every copy is written, earlier states and rivals included, always in the same order, so that
a casebook read from the file writes the same file again to the byte.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from diagnose.case import Case
from diagnose.casebook.line import canonical, digest, from_line, to_line, without_names
from diagnose.casebook.store import Casebook, News
from diagnose.errors import InputError, Place

SQLITE_HEAD = b"SQLite format 3\0"


@dataclass(frozen=True)
class Parcel:
    """What travels between casebooks, and the lines that could not be read."""

    cases: tuple[Case, ...] = ()
    set_aside: frozenset[tuple[str, str]] = frozenset()
    """(case id, content) of copies that lost a conflict."""
    rejected: tuple[InputError, ...] = ()


@dataclass(frozen=True)
class Merged:
    """What came of an import."""

    news: Counter[News] = field(default_factory=Counter)
    conflicts: tuple[str, ...] = ()
    """Ids of cases whose copies contradict each other now."""
    rejected: tuple[InputError, ...] = ()


def pack(casebook: Casebook, names: bool = False) -> Parcel:
    """Everything in a casebook; names of people only when asked for."""
    copies, aside = casebook.copies()
    cases = (copy.case if names else without_names(copy.case) for copy in copies)
    ids = {copy.content: copy.case.id for copy in copies}
    return Parcel(
        tuple({digest(case): case for case in cases}.values()),
        frozenset((ids[content], content) for content in aside if content in ids),
    )


def to_lines(parcel: Parcel) -> Iterator[str]:
    """The lines of an exchange file, without line ends, in their fixed order."""
    for case in sorted(parcel.cases, key=_order):
        yield to_line(case)
    for case_id, content in sorted(parcel.set_aside):
        yield canonical({"id": case_id, "set_aside": content})


def read_lines(lines: Iterable[bytes], source: str | Path) -> Parcel:
    """A parcel from the lines of a file. A line that cannot be read is kept in `rejected`."""
    cases, aside, rejected = [], set(), []
    for number, raw in enumerate(lines, 1):
        place = Place(source, number)
        try:
            text = raw.decode("utf-8-sig" if number == 1 else "utf-8").strip()
            if not text:
                continue
            mark = _set_aside(text)
            if mark:
                aside.add(mark)
            else:
                cases.append(from_line(text, place))
        except UnicodeDecodeError as error:
            rejected.append(InputError(f"not UTF-8 text (byte {error.start})", place))
        except InputError as error:
            rejected.append(error)
    return Parcel(tuple(cases), frozenset(aside), tuple(rejected))


def read_parcel(path: Path) -> Parcel:
    """A parcel from an exchange file, or from another casebook's file.

    Raises InputError when there is no such file, StoreError when it is a broken casebook.
    """
    try:
        with path.open("rb") as stream:
            if _is_casebook(stream):
                with Casebook(path) as other:
                    return pack(other, names=True)
            return read_lines(stream, path)
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", Place(path)) from None


def merge(casebook: Casebook, parcel: Parcel) -> Merged:
    """Take in a parcel. Nothing is lost, and doing it again changes nothing."""
    added = casebook.add(*parcel.cases)
    casebook.set_aside(*(content for _, content in sorted(parcel.set_aside)))
    ids = {case.id for case in parcel.cases}
    conflicts = (e.id for e in casebook.entries() if e.id in ids and e.conflict)
    return Merged(Counter(one.news for one in added), tuple(conflicts), parcel.rejected)


def _set_aside(text: str) -> tuple[str, str] | None:
    try:
        data = json.loads(text)
    except ValueError:
        return None
    if isinstance(data, dict) and data.keys() == {"id", "set_aside"}:
        return str(data["id"]), str(data["set_aside"])
    return None


def _is_casebook(stream: BinaryIO) -> bool:
    head = stream.read(len(SQLITE_HEAD))
    stream.seek(0)
    return head == SQLITE_HEAD


def _order(case: Case) -> tuple[str, str, int, str]:
    opened = case.opened.isoformat() if case.opened else ""
    return opened, case.id, len(case.events), digest(case)
