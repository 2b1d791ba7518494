"""Every answer given, and one of them changed where it stands. Pure: a case in, a case out.

The changed answer keeps its place and its time, so that a case changed and changed back is the
same case; what was told after it stays, and what cannot be any more is set aside and named.
"""

from __future__ import annotations

from typing import NamedTuple

from diagnose.case import AnyEvent, Case, Checked, Event, NotKnown, NotNow, Reading, Seen
from diagnose.case.state import refuse_unfit
from diagnose.errors import InputError
from diagnose.knowledge.model import Knowledge


class Told(NamedTuple):
    """One thing that was answered: the events of one line typed, and the step they answer."""

    step: str
    """Sign or check."""
    events: tuple[AnyEvent, ...]


def told(base: Knowledge, case: Case) -> list[Told]:
    """Everything answered, in order; what was typed in one line for one step is one answer."""
    answers: list[Told] = []
    for event in case.events:
        step = _step_of(base, event)
        if step is None:
            continue
        last = answers[-1] if answers else None
        if last and last.step == step and event.at and last.events[-1].at == event.at:
            answers[-1] = Told(step, (*last.events, event))
        else:
            answers.append(Told(step, (event,)))
    return answers


def _step_of(base: Knowledge, event: Event) -> str | None:
    match event:
        case Seen() | NotKnown():
            return event.sign
        case NotNow():
            return event.step
        case Reading():
            return base.links.check_of[event.setting]
        case Checked():
            return event.check
    return None


class Changed(NamedTuple):
    """A case with one answer changed, and the later events that cannot be any more."""

    case: Case
    set_aside: tuple[AnyEvent, ...]


def changed(base: Knowledge, case: Case, old: Told, new: list[Event]) -> Changed:
    """The case with `new` events where `old` stood. Raises InputError when `new` cannot be."""
    first = old.events[0]
    stamped = [
        event.model_copy(update={"at": first.at, "minutes": 0.0 if i else first.minutes})
        for i, event in enumerate(new)
    ]
    kept: list[AnyEvent] = []
    aside: list[AnyEvent] = []
    begun = False
    for event in case.events:
        if any(event is one for one in old.events):
            for one in () if begun else stamped:
                refuse_unfit(base, case, one)
                kept.append(one)  # type: ignore[arg-type]
            begun = True
        elif begun and _refused(base, case, event):
            aside.append(event)
        else:
            kept.append(event)
    return Changed(case.model_copy(update={"events": tuple(kept)}), tuple(aside))


def _refused(base: Knowledge, case: Case, event: Event) -> bool:
    try:
        refuse_unfit(base, case, event)
    except InputError:
        return True
    return False
