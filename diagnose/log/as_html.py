"""The batch as one self-contained page: work list, pictures, books. Prints on A4."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from diagnose.files import write_whole
from diagnose.knowledge.model import Knowledge
from diagnose.log import pictures
from diagnose.log.as_text import books, machine_line, not_read, nothing_found, safety
from diagnose.log.batch import Batch, MachineFindings, WorkItem
from diagnose.log.wording import (
    course_words,
    next_words,
    number,
    place,
    suspect_words,
    what_is_logged,
    which_words,
)


def write_page(path: Path, batch: Batch, base: Knowledge) -> None:
    """Write the page. Raises StoreError when it cannot be written."""
    write_whole(path, page(batch, base))


def page(batch: Batch, base: Knowledge) -> str:
    """The page as text."""
    from diagnose.say.page import render

    found = {findings.log.name: findings for findings in batch.machines}
    return render(
        "log/report.html",
        work=[_entry(item, found[item.log.name], base) for item in batch.work],
        mended=[_entry(item, found[item.log.name], base) for item in batch.mended],
        machines=[machine_line(batch, findings, base) for findings in batch.machines],
        books=[line for line in books(batch.tally) if line],
        nothing=nothing_found(batch),
        not_read=list(not_read(batch)),
        tally=batch.tally,
        files=batch.files,
        rules=base.version,
        safety=safety(base),
        standings=[(word, text) for word, (_, text) in base.standings.items()],
    )


def _entry(item: WorkItem, found: MachineFindings, base: Knowledge) -> dict[str, Any]:
    from markupsafe import Markup

    reasoned, check = item.reasoned, item.reasoned.check
    first = reasoned.suspects[0]
    has_counts = bool(item.log.bales)
    return {
        "place": place(item, base),
        "seen": what_is_logged(item, base),
        "course": course_words(item, base),
        "where": which_words(item, base),
        "suspects": [suspect_words(suspect, base) for suspect in reasoned.suspects[:3]],
        "because": "; ".join(reason.what for reason in first.because[:4]),
        "against": "; ".join(reason.what for reason in first.against[:2]),
        "check": check.do if check else "call someone who knows this machine",
        "minutes": f"{check.minutes + check.way:g}" if check else "",
        "next": next_words(item),
        "ask": base.signs[reasoned.ask].ask if reasoned.ask else "",
        "cautions": [base.cautions[c].first for c in check.cautions] if check else [],
        "at_risk": number(item.trouble.ties_a_day) if item.trouble.ties_a_day else "",
        # The pictures are drawn here from numbers; every text in them is escaped there.
        "misses": Markup(pictures.misses(item, base)),
        "rates": Markup(pictures.rates(item, found.rates)) if has_counts else "",
        "began": Markup(pictures.began(item)) if has_counts else "",
    }
