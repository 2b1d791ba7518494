"""What the casebook says, in lines of 80 columns and as plain data for JSON."""

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
from diagnose.say.text import count, table, wrapped

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
    rows = [
        (
            entry.id,
            f"{entry.case.opened:%Y-%m-%d}" if entry.case.opened else "",
            entry.case.machine.name or "",
            _outcome(base, entry),
        )
        for entry in entries
    ]
    solved = sum(entry.confirmed is not None for entry in entries)
    conflicts = sum(entry.conflict for entry in entries)
    told = f"{count(len(entries), 'case')}, {solved} confirmed"
    told += f", {count(conflicts, 'conflict')}" if conflicts else ""
    return [*table(rows, indent=0), f"{told}. Casebook:", f"  {where}"]


def _outcome(base: Knowledge, entry: Entry) -> str:
    cause = entry.confirmed
    text = (
        "not solved"
        if cause is None
        else base.causes[cause].name
        if cause in base.causes
        else cause
    )
    return f"CONFLICT: {text}" if entry.conflict else text


def show_lines(entry: Entry, told: Callable[[Case], list[str]]) -> list[str]:
    """A case in full, `told` copy by copy; of a conflict, how to settle it."""
    lines: list[str] = []
    for copy, case in zip(entry.copies, entry.cases, strict=True):
        if len(entry.copies) > 1:
            lines += [f"--- copy {copy.content[:12]} ---"]
        try:
            lines += told(case)
        except InputError as error:
            lines += wrapped(f"Written with other rules than these ({error}); as it was recorded:")
            lines += [case.model_dump_json(exclude_none=True, indent=1)]
        lines.append("")
    return [*lines, *_conflict_lines(entry)] if entry.conflict else lines[:-1]


def _conflict_lines(entry: Entry) -> list[str]:
    lines: list[str] = []
    for role, names in (("technician", entry.technicians), ("customer", entry.customers)):
        if len(names) > 1:
            lines += wrapped(f"CONFLICT about the {role}: {' or '.join(names)}.")
    if len(entry.copies) > 1:
        lines += wrapped(
            f"CONFLICT: these copies contradict each other, and none was thrown away. Choose with: "
            f"diagnose cases settle {entry.id} COPY"
        )
    return lines


def added_lines(added: Iterable[Added]) -> list[str]:
    """What adding cases came to."""
    words = {
        "new": "kept",
        "known": "was here already",
        "continued": "taken further",
        "earlier": "an earlier state of what is here; kept",
        "conflict": "CONTRADICTS the copy that was here; both are kept",
    }
    return [f"{one.id}: {words[one.news]}" for one in added]


def merged_lines(merged: Merged) -> list[str]:
    """What an import came to: counts, conflicts, and lines that could not be read."""
    words: dict[News, str] = {
        "new": "new", "continued": "taken further", "earlier": "earlier states",
        "known": "here already", "conflict": "in conflict",
    }  # fmt: skip
    parts = [f"{merged.news[news]} {word}" for news, word in words.items() if merged.news[news]]
    lines = wrapped(", ".join(parts) + "." if parts else "No cases in it.")
    for case_id in merged.conflicts:
        lines += wrapped(f"CONFLICT, both kept: {case_id} (diagnose cases show {case_id})")
    if merged.rejected:
        lines += wrapped(f"{count(len(merged.rejected), 'line')} could not be read:")
        lines += [f"  {fault}" for fault in merged.rejected[:MOST_FAULTS]]
        left = len(merged.rejected) - MOST_FAULTS
        lines += [f"  and {left} more"] if left > 0 else []
    return lines


def learned_lines(base: Knowledge, learned: Learned) -> list[str]:
    """How far cases have moved commonness and minutes from the rule base's words."""
    lines = wrapped(f"What is learnt {learned.basis}.")
    lines += wrapped(
        "Checks are chosen by suspicion: what was suspected was looked for first and is found "
        "more often than what was not. --no-learning shows the rule base alone."
    )
    common = [
        (base.causes[cause].name, f"{was:.1%} -> {now:.1%}")
        for cause, was, now in sorted(_moved(prior_weights(base), learned.prior), key=_by_change)
    ]
    lines += ["", "Commonness of causes, words -> with cases", *table(common)] if common else []
    names = {n: s.ask for n, s in base.signs.items()} | {n: c.do for n, c in base.checks.items()}
    judged = {n: base.checks[n].minutes for n in learned.minutes if n in base.checks}
    times = [
        (f"{was:g} -> {now:.1f}", names[step])
        for step, was, now in sorted(_moved(judged, learned.minutes), key=_by_change)
    ]
    lines += ["", "Minutes of checks, judged -> with those taken", *table(times)] if times else []
    if learned.unknown:
        lines += wrapped(f"Not in these rules, so not counted: {', '.join(learned.unknown)}.")
    return lines


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
    lines = wrapped(
        f"{count(len(unread), 'row')} of this casebook cannot be read; kept as it stands, and set "
        "aside:"
    )
    return lines + [line for what in unread.values() for line in wrapped(what, first="  - ")]
