"""What comes next in any use of a case: the gate before an act, and the phase a state is in. Pure.

What was told, checked and set right is the state (`state`); what follows from it (`Findings`) is
worked out by whoever reasons. A phase is the first of its guards that holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

from diagnose.case.state import Knotter, Repair, State
from diagnose.case.use import Use
from diagnose.knowledge.acts import Kind, act_destroys, precautions, way_destroys
from diagnose.knowledge.model import Knowledge

Phase = Literal["cured", "look", "found", "search", "proving"]


class Find(NamedTuple):
    """A cause that stands found and is not set right yet; of no knotter, on the machine."""

    cause: str
    check: str
    knotter: Knotter


@dataclass(frozen=True)
class Findings:
    """What follows from a state, as far as the protocol asks."""

    settled: Mapping[Knotter, frozenset[str]]
    """Signs that are answered at each failing tie, told or concluded."""
    found: tuple[Find, ...]
    """What stands found and not set right, likeliest first."""
    repaired: Mapping[Knotter, Repair | None]
    """The repair behind which each failing tie stands, not failed since; None: none yet."""

    @property
    def uncovered(self) -> tuple[Knotter, ...]:
        """Failing ties for which nothing is set right yet."""
        return tuple(k for k, repair in self.repaired.items() if repair is None)


def gate(base: Knowledge, state: State, kind: Kind, name: str, use: Use) -> tuple[str, ...]:
    """Precautions to confirm before an act, in the order to take them; empty: it is open.

    Raises KeyError for an unknown act.
    """
    needed = precautions(base, kind, name)
    first = base.roles.make_safe
    if not use.confirms:
        needed = (first,) if use.stopped else ()
    return tuple(caution for caution in needed if caution not in state.secured)


def unready(base: Knowledge, state: State, precaution: str) -> str | None:
    """What has to be confirmed before a precaution itself: making safe comes before the others."""
    first = base.roles.make_safe
    return first if precaution != first and first not in state.secured else None


def phase(base: Knowledge, state: State, findings: Findings, use: Use) -> Phase:
    """Which part of the search a case is in."""
    repairs = findings.repaired.values()
    if all(r and r.status == "kept" for r in repairs) and not state.proving:
        return "cured"
    if opening(base, state, findings, use):
        return "look"
    if findings.found:
        return "found"
    return "search" if findings.uncovered else "proving"


class Look(NamedTuple):
    """A look, at one failing tie or at all of them."""

    sign: str
    knotter: Knotter


def opening(base: Knowledge, state: State, findings: Findings, use: Use) -> Look | None:
    """The next of the looks that every search begins with, open at a tie with no repair."""
    if not use.openings:
        return None
    placed = [(sign.first, name) for name, sign in base.signs.items() if sign.first is not None]
    for _, name in sorted(placed, key=lambda pair: pair[0]):
        at = [k for k in findings.uncovered if is_open(state, findings, name, k)]
        if at and use.asked(name):
            return Look(name, at[0] if len(at) == 1 and base.signs[name].scope != "bale" else None)
    return None


def is_open(state: State, findings: Findings, sign: str, knotter: Knotter) -> bool:
    """Whether nobody has answered, refused or put off a look, and no act has destroyed it."""
    closed = state.is_unknown(sign, knotter) or state.is_put_off(sign, knotter)
    return not (closed or sign in findings.settled[knotter] or state.is_lost(sign, knotter))


def look_before(
    base: Knowledge, state: State, findings: Findings, act: str, at: Knotter, use: Use
) -> Look | None:
    """The first look, in the order of the rules, that an act would destroy and that is open."""
    own, way = act_destroys(base, act), way_destroys(base, act, state.place)
    for sign in base.signs:
        for knotter in findings.uncovered:
            here = at is None or knotter is None or at == knotter
            lost = sign in way or (sign in own and here)
            if lost and use.asked(sign) and is_open(state, findings, sign, knotter):
                return Look(sign, knotter)
    return None
