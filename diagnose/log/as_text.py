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
from diagnose.say.text import columns

_REASONS = 3
UNREAD = "NOT JUDGED; most lines of its file could not be read"


def report(batch: Batch, base: Knowledge, *, numbers: bool = False) -> Iterator[str]:
    """The lines of the report."""
    for lost in not_read(batch):
        yield from _wrapped("", lost, 0)
        yield ""
    if batch.work:
        yield from _wrapped("", f"SAFE FIRST. {safety(base)}", 0)
        yield ""
    for rank, item in enumerate(batch.work, 1):
        yield from _item(rank, item, base, numbers)
        yield ""
    if not batch.work:
        yield from _wrapped("", nothing_found(batch), 0)
        yield ""
    if batch.mended:
        yield "Seems to be over:"
        for item in batch.mended:
            yield from _wrapped("", f"{place(item, base)}: {what_is_logged(item, base)}; "
                                    f"{course_words(item, base)}.", 2)  # fmt: skip
        yield ""
    for found in sorted(batch.machines, key=lambda f: f.log.name not in batch.not_judged):
        yield from _wrapped("", machine_line(batch, found, base) + ".", 0)
    yield from books(batch.tally)


def machine_line(batch: Batch, found: MachineFindings, base: Knowledge) -> str:
    """One line on a machine; a file read in small part is no all-clear."""
    if found.log.name in batch.tally.doubted and not found.troubles:
        return f"{found.log.name}: {UNREAD}"
    return machine_words(found, base)


def not_read(batch: Batch) -> Iterator[str]:
    """What stands before everything else: files of which most could not be read."""
    for file in batch.tally.mostly_rejected:
        yield f"NOT JUDGED: {file}. Mend the file, or name its columns with --column."


def nothing_found(batch: Batch) -> str:
    """The headline of an empty work list; what was not understood is never called sound."""
    if batch.not_judged:
        names = ", ".join(batch.not_judged)
        lines = set(batch.not_judged) <= batch.tally.doubted
        why = "lines could not be read" if lines else "codes are not known, or lines not read"
        return f"Not judged, for most of the {why}: {names}."
    if not batch.tally.used:
        return "Nothing could be read."
    return "Nothing wrong found."


def safety(base: Knowledge) -> str:
    """What must be done before anyone goes near the knotters."""
    named = [base.cautions[name] for name in base.setups[base.start_setup].cautions]
    return " ".join(caution.first.strip() for caution in named if not caution.once)


def _item(rank: int, item: WorkItem, base: Knowledge, numbers: bool) -> Iterator[str]:
    reasoned = item.reasoned
    first = reasoned.suspects[0]
    head = f"{rank}  {place(item, base)}: {suspect_words(first, base, numbers)}"
    yield from textwrap.wrap(head, columns() - 1, subsequent_indent="   ")
    yield from _wrapped("seen", what_is_logged(item, base))
    yield from _wrapped("how", course_words(item, base))
    if which_words(item, base):
        yield from _wrapped("where", which_words(item, base))
    because = [reason.what for reason in first.because[:_REASONS]]
    yield from _wrapped("because", "; ".join(because) or "no sign speaks for it alone")
    against = [reason.what for reason in first.against[:1]]
    if against:
        yield from _wrapped("against", "; ".join(against))
    others = [suspect_words(s, base, numbers) for s in reasoned.suspects[1:3]]
    yield from _wrapped("or", "; ".join(others))
    yield from _wrapped("next", next_words(item))
    if reasoned.ask:
        yield from _wrapped("ask too", base.signs[reasoned.ask].ask)
    if item.trouble.ties_a_day:
        yield from _wrapped("at risk", f"{number(item.trouble.ties_a_day)} ties a day, if left")


def _wrapped(label: str, text: str, indent: int = 3) -> Iterator[str]:
    start = " " * indent + (f"{label:<9}" if label else "")
    later = " " * len(start) if label else " " * (indent + 2)
    yield from textwrap.wrap(" ".join(text.split()), columns() - 1, initial_indent=start,
                             subsequent_indent=later)  # fmt: skip


def books(tally: Tally) -> Iterator[str]:
    """What became of every line read."""
    yield ""
    ignored = sum(tally.ignored.values())
    read = (
        f"Lines: {tally.read:,} read = {tally.used:,} used + {ignored:,} ignored "
        f"+ {tally.rejected:,} rejected"
    )
    yield from _wrapped("", read, 0)
    for reason, count in sorted(tally.ignored.items(), key=lambda pair: (-pair[1], pair[0])):
        yield from _wrapped("", f"ignored {count:,}: {reason}", 2)
    for reject in tally.rejects[:5]:
        yield from _wrapped("", f"rejected {reject.file}:{reject.line}: {reject.reason}", 2)
    if tally.rejected > 5:
        more = f"and {tally.rejected - 5:,} more rejected; --rejects FILE writes them all"
        yield from _wrapped("", more, 2)
    for note in tally.notes:
        yield from _wrapped("", f"note: {note}", 2)
    if tally.unmapped:
        head = "Codes nobody mapped (may be maker-specific; not guessed at):"
        yield from _wrapped("", head, 0)
        shown = sorted(tally.unmapped.items(), key=lambda pair: (-pair[1].count, pair[0]))
        for code, entry in shown[:20]:
            raw = f"bytes {entry.raw.hex(' ')}" if entry.raw else ""
            told = (f"{code}: {entry.count:,}x", unmapped_words(code), entry.note, raw)
            yield from _wrapped("", "; ".join(part for part in told if part), 2)
        if len(shown) > 20:
            yield f"  and {len(shown) - 20:,} more; --json lists them all"


def unmapped_words(code: str) -> str:
    """Source, SPN and the FMI's text of a trouble code `source/SPN/FMI`; else nothing."""
    parts = code.split("/")
    if len(parts) != 3 or not all(part.isdigit() for part in parts):
        return ""
    source, spn, failure = (int(part) for part in parts)
    return f"source {source}, SPN {spn}, FMI {failure} {fmi.text(failure)}"
