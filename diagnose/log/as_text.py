"""The work list for the workshop's wall, the most useful line first."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from diagnose.knowledge.model import Knowledge
from diagnose.log import fmi
from diagnose.log.batch import Batch, MachineFindings, WorkItem
from diagnose.log.tally import Tally
from diagnose.log.wording import (
    course_words,
    machine_words,
    next_words,
    number,
    place,
    suspect_words,
    what_is_logged,
    which_words,
)
from diagnose.say import Words, said
from diagnose.say.text import columns

_REASONS = 3


def report(batch: Batch, base: Knowledge, *, numbers: bool = False) -> Iterator[str]:
    """The lines of the report."""
    for lost in not_read(batch):
        yield from _wrapped("", lost, 0)
        yield ""
    if batch.work:
        yield from _wrapped("", said("log.safe_first", cautions=safety(base)), 0)
        yield ""
    for rank, item in enumerate(batch.work, 1):
        yield from _item(rank, item, base, numbers)
        yield ""
    if not batch.work:
        yield from _wrapped("", nothing_found(batch), 0)
        yield ""
    if batch.mended:
        yield str(said("log.over"))
        for item in batch.mended:
            told = said(
                "log.over_item",
                place=place(item, base),
                seen=what_is_logged(item, base),
                course=course_words(item, base),
            )
            yield from _wrapped("", told, 2)
        yield ""
    for found in sorted(batch.machines, key=lambda f: f.log.name not in batch.not_judged):
        words = machine_line(batch, found, base)
        yield from _wrapped("", said("log.machine", words=words), 0)
    yield from books(batch.tally)


def machine_line(batch: Batch, found: MachineFindings, base: Knowledge) -> str:
    """One line on a machine; a file read in small part is no all-clear."""
    if found.log.name in batch.tally.doubted and not found.troubles:
        return str(said("log.unread", machine=found.log.name))
    return machine_words(found, base)


def not_read(batch: Batch) -> Iterator[str]:
    """What stands before everything else: files of which most could not be read."""
    for file in batch.tally.mostly_rejected:
        yield str(said("log.not_judged_file", file=file))


def nothing_found(batch: Batch) -> str:
    """The headline of an empty work list; what was not understood is never called sound."""
    if batch.not_judged:
        names = ", ".join(batch.not_judged)
        lines = set(batch.not_judged) <= batch.tally.doubted
        return str(said("log.not_judged_lines" if lines else "log.not_judged_codes", names=names))
    if not batch.tally.used:
        return str(said("log.nothing_read"))
    return str(said("log.nothing_wrong"))


def safety(base: Knowledge) -> str:
    """What must be done before anyone goes near the knotters."""
    named = [base.cautions[name] for name in base.setups[base.start_setup].cautions]
    return " ".join(caution.first.strip() for caution in named if not caution.once)


def _item(rank: int, item: WorkItem, base: Knowledge, numbers: bool) -> Iterator[str]:
    reasoned = item.reasoned
    first = reasoned.suspects[0]
    suspect = suspect_words(first, base, numbers)
    head = said("log.head", rank=rank, place=place(item, base), suspect=suspect)
    yield from textwrap.wrap(str(head), columns() - 1, subsequent_indent="   ")
    yield from _wrapped(said("log.seen"), what_is_logged(item, base))
    yield from _wrapped(said("log.how"), course_words(item, base))
    if which_words(item, base):
        yield from _wrapped(said("log.where"), which_words(item, base))
    because = [reason.what for reason in first.because[:_REASONS]]
    yield from _wrapped(said("log.because"), "; ".join(because) or said("log.no_sign"))
    against = [reason.what for reason in first.against[:1]]
    if against:
        yield from _wrapped(said("log.against"), "; ".join(against))
    others = [suspect_words(s, base, numbers) for s in reasoned.suspects[1:3]]
    yield from _wrapped(said("log.or"), "; ".join(others))
    yield from _wrapped(said("log.next"), next_words(item))
    if reasoned.ask:
        yield from _wrapped(said("log.ask_too"), base.signs[reasoned.ask].ask)
    if item.trouble.ties_a_day:
        ties = said("log.ties_a_day", ties=number(item.trouble.ties_a_day))
        yield from _wrapped(said("log.at_risk"), ties)


def _wrapped(label: Words, text: Words, indent: int = 3) -> Iterator[str]:
    start = " " * indent + (f"{label!s:<9}" if label else "")
    later = " " * len(start) if label else " " * (indent + 2)
    yield from textwrap.wrap(" ".join(str(text).split()), columns() - 1, initial_indent=start,
                             subsequent_indent=later)  # fmt: skip


def books(tally: Tally) -> Iterator[str]:
    """What became of every line read."""
    yield ""
    told = said(
        "log.lines",
        read=tally.read,
        used=tally.used,
        ignored=sum(tally.ignored.values()),
        rejected=tally.rejected,
    )
    yield from _wrapped("", told, 0)
    for reason, count in sorted(tally.ignored.items(), key=lambda pair: (-pair[1], pair[0])):
        yield from _wrapped("", said("log.ignored", count=count, reason=reason), 2)
    for one in tally.rejects[:5]:
        line = said("log.rejected", file=one.file, line=one.line, reason=one.reason)
        yield from _wrapped("", line, 2)
    if tally.rejected > 5:
        yield from _wrapped("", said("log.more_rejected", number=tally.rejected - 5), 2)
    for note in tally.notes:
        yield from _wrapped("", said("log.note", note=note), 2)
    if tally.unmapped:
        yield from _wrapped("", said("log.nobody_mapped"), 0)
        shown = sorted(tally.unmapped.items(), key=lambda pair: (-pair[1].count, pair[0]))
        for code, entry in shown[:20]:
            raw = said("log.bytes", raw=entry.raw.hex(" ")) if entry.raw else ""
            head = said("log.unmapped", code=code, count=entry.count)
            parts = (str(head), unmapped_words(code), entry.note, str(raw))
            yield from _wrapped("", "; ".join(part for part in parts if part), 2)
        if len(shown) > 20:
            yield from _wrapped("", said("log.more_unmapped", number=len(shown) - 20), 2)


def unmapped_words(code: str) -> str:
    """Source, SPN and the FMI's text of a trouble code `source/SPN/FMI`; else nothing."""
    parts = code.split("/")
    if len(parts) != 3 or not all(part.isdigit() for part in parts):
        return ""
    source, spn, failure = (int(part) for part in parts)
    text = fmi.text(failure)
    return str(said("log.trouble_code", source=source, spn=spn, failure=failure, text=text))
