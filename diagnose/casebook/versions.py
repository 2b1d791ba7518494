"""From all copies of a case that were ever received to how the case stands.

A casebook only ever gains copies, so merging two of them is a union: in any order, any
number of times, it gives the same. What stands is worked out from the set each time:

- a copy whose events continue another's is a later state of the case and replaces it;
- two copies of which neither continues the other are a conflict, and both stand;
- a copy that was set aside by hand stands no more, but stays in the casebook.

Names do not decide between copies; a name that any copy carries belongs to the case.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from diagnose.case import Case
from diagnose.casebook.line import content, without_names


@dataclass(frozen=True)
class Copy:
    """One copy of a case as received, with the fingerprint of its content."""

    case: Case
    content: str

    @classmethod
    def of(cls, case: Case) -> Copy:
        return cls(case, content(case))


@dataclass(frozen=True)
class Entry:
    """A case as it stands: one copy, or several that contradict each other."""

    id: str
    copies: tuple[Copy, ...]
    technicians: tuple[str, ...] = ()
    customers: tuple[str, ...] = ()

    @property
    def case(self) -> Case:
        """The copy with most events, with the names that are known for sure."""
        return self._named(max(self.copies, key=lambda copy: len(copy.case.events)).case)

    @property
    def cases(self) -> tuple[Case, ...]:
        """Every copy that stands, with the names that are known for sure."""
        return tuple(self._named(copy.case) for copy in self.copies)

    @property
    def conflict(self) -> bool:
        """Whether copies contradict each other, in what happened or in names."""
        return max(len(self.copies), len(self.technicians), len(self.customers)) > 1

    @property
    def confirmed(self) -> str | None:
        """The cause proved cured; None while copies disagree about it."""
        causes = {copy.case.confirmed for copy in self.copies}
        return causes.pop() if len(causes) == 1 else None

    def _named(self, case: Case) -> Case:
        names = {"technician": self.technicians, "customer": self.customers}
        sure = {field: known[0] for field, known in names.items() if len(known) == 1}
        return case.model_copy(update=sure)


def entry(copies: Iterable[Copy], set_aside: frozenset[str] = frozenset()) -> Entry | None:
    """How one case stands, from all its copies; None when every copy is set aside."""
    received = [copy for copy in copies if copy.content not in set_aside]
    standing = {copy.content: Copy(without_names(copy.case), copy.content) for copy in received}
    latest = [
        copy
        for copy in standing.values()
        if not any(continues(other.case, copy.case) for other in standing.values())
    ]
    if not latest:
        return None
    return Entry(
        id=latest[0].case.id,
        copies=tuple(sorted(latest, key=lambda copy: (len(copy.case.events), copy.content))),
        technicians=_known(copy.case.technician for copy in received),
        customers=_known(copy.case.customer for copy in received),
    )


def continues(later: Case, earlier: Case) -> bool:
    """Whether `later` is a later state of `earlier`: nothing taken back, something added.

    A partial order: no two copies continue each other, and names do not matter.
    """
    if later.events[: len(earlier.events)] != earlier.events:
        return False
    grown = len(later.events) > len(earlier.events)
    was, now = _head(earlier), _head(later)
    if grown:  # a case may be taken up again under newer rules
        was.pop("rules"), now.pop("rules")
    kept = all(value is None or now[key] == value for key, value in was.items())
    return kept and (grown or was != now)


def _head(case: Case) -> dict[str, Any]:
    return {"rules": case.rules, "opened": case.opened, **case.machine.model_dump()}


def _known(names: Iterable[str | None]) -> tuple[str, ...]:
    return tuple(sorted({name for name in names if name}))
