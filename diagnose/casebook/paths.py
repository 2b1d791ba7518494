"""Minutes to a case's fault by four ways: our planner, as it was checked, a printed chart, a clock.

The first three are priced alike: the rule base's minutes for each step and for the way to it,
so that they differ by the order of steps alone. A replayed check finds a fault that the case
held, unless the record says that this very check overlooked it. The planner may ask only what the
record answers: what nobody wrote down is neither known nor unknown, so it can be no question.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.case import (
    Checked,
    Mended,
    Proved,
    Seen,
)
from diagnose.case.use import replaying
from diagnose.casebook.replay import Solved
from diagnose.casebook.steps import Done, steps_done
from diagnose.inference.tables import Evidence
from diagnose.knowledge.acts import place_after
from diagnose.session.diagnosis import diagnose
from diagnose.session.reasoner import Reasoner

STEP_LIMIT = 200


@dataclass(frozen=True)
class Paths:
    """Minutes to the confirmed cause; `planned` and `chart` call someone when they find nothing."""

    planned: float
    recorded: float
    chart: float
    taken: float | None
    """Really taken by the clock; None when a check's minutes were not written down."""
    called: float
    """Of calling someone where no check confirms the cause; on top of `recorded` and `taken`."""


def paths(reasoner: Reasoner, one: Solved) -> Paths:
    """All four for one case. Raises InputError for ids the rules do not have."""
    base = reasoner.base
    confirmed = bool(base.links.finders[one.cause])
    return Paths(
        planned=planned_minutes(reasoner, one),
        recorded=recorded_minutes(reasoner, one),
        chart=chart_minutes(reasoner, one),
        taken=taken_minutes(reasoner, one),
        called=0.0 if confirmed else base.base.call_minutes,
    )


def planned_minutes(reasoner: Reasoner, one: Solved) -> float:
    """Follow the planner from the first question to the confirmed cause, or to its giving up."""
    answers: dict[str, Seen] = {}
    for event in one.case.events:
        if isinstance(event, Seen):
            answers.setdefault(event.sign, Seen(sign=event.sign, answers=event.answers))
    results = _Results(reasoner, one)
    use = replaying(frozenset(answers))
    case, total = one.case.model_copy(update={"events": ()}), 0.0
    for _ in range(STEP_LIMIT):
        step = diagnose(reasoner, case, use).step
        total += step.minutes + step.way
        match step.kind:
            case "ask":
                case = case.with_event(answers[step.id])
            case "check":
                found = results.next(step.id)
                if found == one.cause:
                    return total
                case = case.with_event(Checked(check=step.id, found=found))
            case "mend":  # another fault that the case held: the tie still fails
                case = case.with_event(Mended(cause=step.id))
                case = case.with_event(Proved(cause=step.id, clean_ties=0, failed=True))
            case _:
                break
    return total + reasoner.base.base.call_minutes


def recorded_minutes(reasoner: Reasoner, one: Solved) -> float:
    """The record's own steps at the rule base's prices."""
    return sum(done.judged + done.way for done in _searching(reasoner, one))


def taken_minutes(reasoner: Reasoner, one: Solved) -> float | None:
    """By the clock; a question nobody timed costs what the rule base says."""
    total = 0.0
    for done in _searching(reasoner, one):
        if done.taken is None and not done.asked:
            return None
        total += done.judged + done.way if done.taken is None else done.taken
    return total


def chart_minutes(reasoner: Reasoner, one: Solved) -> float:
    """Go down a printed chart: its row by what hangs from the bale, its causes in fixed order.

    The causes of a row stand by how common they are with that sign, each with the check that
    overlooks it least. The chart asks nothing else, and knows nothing of setups.
    """
    base, tables = reasoner.base, reasoner.tables
    first = base.roles.failed_tie
    seen = (e.answers for e in one.case.events if isinstance(e, Seen) and e.sign == first)
    told = next(seen, None)
    answers = {first: told} if told else {}
    row = tables.posterior(Evidence(answers=answers)).by_cause
    results, done, here = _Results(reasoner, one), set[str](), base.start_setup
    total = tables.minutes[first]
    for cause in sorted(row, key=lambda name: -row[name]):
        finders = base.links.finders[cause]
        looks = {check: base.words[base.checks[check].confirms[cause]] for check in finders}
        check = min(looks, key=lambda name: looks[name], default=None)
        if cause == base.roles.something_else or check is None or check in done:
            continue
        done.add(check)
        total += tables.minutes[check] + _way(reasoner, here, base.checks[check].setup)
        here = place_after(base, here, check)
        if results.next(check) == one.cause:
            return total
    return total + base.base.call_minutes


class _Results:
    """What each check finds in this case: as recorded first, then by what the case held."""

    def __init__(self, reasoner: Reasoner, one: Solved) -> None:
        self._base = reasoner.base
        mended = [e.cause for e in one.case.events if isinstance(e, Mended)]
        self._held = [one.cause, *(cause for cause in mended if cause != one.cause)]
        self._missed = [
            e.check for e in one.case.events if isinstance(e, Checked) and e.found is None
        ]
        self._mended: set[str] = set()

    def next(self, check: str) -> str | None:
        """The result of doing the check now."""
        if check in self._missed:
            self._missed.remove(check)
            return None
        there = [c for c in self._held if c in self._base.checks[check].confirms]
        found = next((cause for cause in there if cause not in self._mended), None)
        if found is not None:
            self._mended.add(found)
        return found


def _searching(reasoner: Reasoner, one: Solved) -> list[Done]:
    """The steps up to the mending of the confirmed cause."""
    events = one.case.events
    mended = (n for n, e in enumerate(events) if isinstance(e, Mended) and e.cause == one.cause)
    ways = reasoner.tables.setups, reasoner.tables.moves
    return steps_done(reasoner.base, ways, events[: max(mended, default=len(events))])


def _way(reasoner: Reasoner, here: str, there: str) -> float:
    setups = reasoner.tables.setups
    return float(reasoner.tables.moves[setups.index(here), setups.index(there)])
