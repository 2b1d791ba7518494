"""What the casebook says of its cases, as lines and as plain data."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from diagnose.case import Case
from diagnose.casebook.exchange import Merged
from diagnose.casebook.learning import Learned
from diagnose.casebook.store import Added, News
from diagnose.casebook.versions import Entry
from diagnose.errors import InputError
from diagnose.inference.likelihood import prior_weights
from diagnose.knowledge.model import Knowledge
from diagnose.say import Block, Gap, Items, Line, Para, Rows, Title, Words, lines, said

MOVED = 1.2
"""A commonness or a time is listed when it moved by this factor."""

MOST_FAULTS = 10
"""So many lines that could not be read are shown one by one."""


def entry_data(entry: Entry) -> dict[str, Any]:
    """One case as plain data, every copy that stands included."""
    return {
        "id": entry.id,
        "opened": entry.case.opened.isoformat() if entry.case.opened else None,
        "machine": entry.case.machine.model_dump(exclude_none=True),
        "confirmed": entry.confirmed,
        "conflict": entry.conflict,
        "technicians": list(entry.technicians),
        "customers": list(entry.customers),
        "copies": [
            {"content": copy.content, "case": copy.case.model_dump(mode="json", exclude_none=True)}
            for copy in entry.copies
        ],
    }


def list_lines(base: Knowledge, entries: Sequence[Entry], where: str) -> list[str]:
    """One line a case, and what they come to."""
    rows: list[tuple[Words, ...]] = [
        (
            entry.id,
            f"{entry.case.opened:%Y-%m-%d}" if entry.case.opened else "",
            entry.case.machine.name or "",
            _outcome(base, entry),
        )
        for entry in entries
    ]
    cases = said("count.case", n=len(entries))
    solved = sum(entry.confirmed is not None for entry in entries)
    conflicts = sum(entry.conflict for entry in entries)
    told = said("casebook.listed", cases=cases, n=solved)
    if conflicts:
        told = said(
            "casebook.listed_conflicts",
            cases=cases,
            n=solved,
            conflicts=said("count.conflict", n=conflicts),
        )
    return lines([Rows(tuple(rows), indent=0), Para(told), Line(f"  {where}")])


def _outcome(base: Knowledge, entry: Entry) -> Words:
    cause = entry.confirmed
    outcome: Words = said("casebook.not_solved")
    if cause is not None:
        outcome = base.causes[cause].name if cause in base.causes else cause
    return said("casebook.conflict", outcome=outcome) if entry.conflict else outcome


def show_lines(entry: Entry, told: Callable[[Case], list[str]]) -> list[str]:
    """A case in full, `told` copy by copy; of a conflict, how to settle it."""
    shown: list[str] = []
    for copy, case in zip(entry.copies, entry.cases, strict=True):
        if len(entry.copies) > 1:
            shown += lines([Para(said("casebook.copy", content=copy.content[:12]))])
        try:
            shown += told(case)
        except InputError as error:
            shown += lines([Para(said("casebook.other_rules", error=error))])
            shown += [case.model_dump_json(exclude_none=True, indent=1)]
        shown.append("")
    return [*shown, *lines(_conflict(entry))] if entry.conflict else shown[:-1]


def _conflict(entry: Entry) -> Iterator[Block]:
    if len(entry.technicians) > 1:
        names = " or ".join(entry.technicians)
        yield Para(said("casebook.conflict_technician", names=names))
    if len(entry.customers) > 1:
        yield Para(said("casebook.conflict_customer", names=" or ".join(entry.customers)))
    if len(entry.copies) > 1:
        yield Para(said("casebook.conflict_copies", case=entry.id))


def added_lines(added: Iterable[Added]) -> list[str]:
    """What adding cases came to."""
    return [str(said(f"casebook.added_{one.news}", case=one.id)) for one in added]


def merged_lines(merged: Merged) -> list[str]:
    """What an import came to: counts, conflicts, and lines that could not be read."""
    return lines(_merged(merged))


def _merged(merged: Merged) -> Iterator[Block]:
    news: tuple[News, ...] = ("new", "continued", "earlier", "known", "conflict")
    parts = [
        str(said(f"casebook.merged_{one}", number=merged.news[one]))
        for one in news
        if merged.news[one]
    ]
    none = said("casebook.nothing_merged")
    yield Para(said("casebook.merged", parts=", ".join(parts)) if parts else none)
    for case_id in merged.conflicts:
        yield Para(said("casebook.both_kept", case=case_id))
    if merged.rejected:
        yield Para(said("casebook.unread", lines=said("count.line", n=len(merged.rejected))))
        for fault in merged.rejected[:MOST_FAULTS]:
            yield Line(f"  {fault}")
        left = len(merged.rejected) - MOST_FAULTS
        if left > 0:
            yield Para(said("casebook.more", number=left), 2)


def learned_lines(base: Knowledge, learned: Learned) -> list[str]:
    """How far cases have moved commonness and minutes from the rule base's words."""
    return lines(_learned(base, learned))


def _learned(base: Knowledge, learned: Learned) -> Iterator[Block]:
    yield Para(said("casebook.learnt", basis=learned.basis))
    yield Para(said("casebook.bias"))
    common = [
        (base.causes[cause].name, said("casebook.common_moved", was=was, now=now))
        for cause, was, now in sorted(_moved(prior_weights(base), learned.prior), key=_by_change)
    ]
    if common:
        yield from (Gap(), Title(said("casebook.common")), Rows(tuple(common)))
    names = {n: s.ask for n, s in base.signs.items()} | {n: c.do for n, c in base.checks.items()}
    judged = {n: base.checks[n].minutes for n in learned.minutes if n in base.checks}
    times = [
        (said("casebook.time_moved", was=was, now=now), names[step])
        for step, was, now in sorted(_moved(judged, learned.minutes), key=_by_change)
    ]
    if times:
        yield from (Gap(), Title(said("casebook.times")), Rows(tuple(times)))
    if learned.unknown:
        yield Para(said("casebook.not_counted", causes=", ".join(learned.unknown)))


def _moved(before: Any, now: Any) -> Iterator[tuple[str, float, float]]:
    for name, was in before.items():
        if max(now[name] / was, was / now[name]) >= MOVED:
            yield name, was, now[name]


def _by_change(moved: tuple[str, float, float]) -> float:
    return -moved[2] / moved[1]


def unread_lines(unread: Mapping[str, str]) -> list[str]:
    """Rows set aside because they do not validate, named and counted; nothing where all is well."""
    if not unread:
        return []
    rows = said("count.row", n=len(unread))
    return lines([Para(said("casebook.rows_aside", rows=rows)), Items(tuple(unread.values()))])
