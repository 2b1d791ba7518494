"""What a change of the rules has moved: named bales and solved cases, before and now."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from diagnose.case import Case
from diagnose.errors import InputError
from diagnose.knowledge.model import Knowledge
from diagnose.session.judged import case_of, judged
from diagnose.session.reasoner import Reasoner

FIRST = 5
"""Places behind the first so many are all alike."""
NOTABLE = 1.05
"""Odds that changed by a smaller factor are not worth a line."""


@dataclass(frozen=True)
class Stood:
    """How the cause stood with one set of rules."""

    rank: int
    odds: float
    """So many times as likely as the likeliest other cause."""


@dataclass(frozen=True)
class Moved:
    """A named bale or a solved case that stands otherwise now."""

    kind: str
    """`bale` or `case`."""
    name: str
    cause: str
    was: Stood
    now: Stood | None
    """None: the rules no longer know the cause, or something that was told."""

    @property
    def gain(self) -> float:
        """ln of the odds now over the odds then: below 0 is worse."""
        return math.log(self.now.odds / self.was.odds) if self.now else -math.inf


def moved(
    before: Reasoner, now: Reasoner, solved: Iterable[tuple[Case, str]] = ()
) -> tuple[Moved, ...]:
    """Everything that moved, worst first. `solved`: cases as far as they are judged, and causes.

    Bales are those of both; of two with one name, that of the rules now.
    """
    cases = [("bale", name, cause, case) for name, cause, case in _bales(before.base, now.base)]
    cases += [("case", case.id, cause, case) for case, cause in solved]
    found = []
    for kind, name, cause, case in cases:
        was, stands = _stood(before, case, cause), _stood(now, case, cause)
        if was and _notable(was, stands):
            found.append(Moved(kind, name, cause, was, stands))
    return tuple(sorted(found, key=lambda one: one.gain))


def _bales(*bases: Knowledge) -> Iterator[tuple[str, str, Case]]:
    bales: dict[tuple[str, str], Case] = {}
    for base in bases:
        for cause, body in base.causes.items():
            for name, bale in body.bales.items():
                bales[cause, name] = case_of(base, name, bale)
    for (cause, name), case in bales.items():
        yield name, cause, case


def _stood(reasoner: Reasoner, case: Case, cause: str) -> Stood | None:
    if cause not in reasoner.base.causes:
        return None
    try:
        found = judged(reasoner, case, cause)
    except InputError:
        return None  # something was told that these rules do not know
    return Stood(found.rank, found.odds())


def _notable(was: Stood, now: Stood | None) -> bool:
    if now is None:
        return True
    if min(was.rank, now.rank) > FIRST:
        return False
    return was.rank != now.rank or not 1 / NOTABLE < now.odds / was.odds < NOTABLE
