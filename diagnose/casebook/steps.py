"""The steps a case went through: each sign answered and check done, with its minutes and its way.

A session's clock runs from the moment a step is shown until its answer is typed, so the minutes
really taken hold the way to the step as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

import numpy as np
import numpy.typing as npt

from diagnose.case import AnyEvent, Checked, Event, Reading, Seen
from diagnose.knowledge.acts import place_after, place_of
from diagnose.knowledge.model import Knowledge


@dataclass(frozen=True)
class Done:
    """One step done: `judged` and `way` are the rule base's minutes, `taken` the clock's."""

    step: str
    judged: float
    way: float
    taken: float | None
    asked: bool
    """A question, which nobody need have timed."""


def step_of(base: Knowledge, event: Event) -> str | None:
    """The sign that was answered or the check that was done, a reading being its setting's."""
    match event:
        case Seen():
            return event.sign if event.sign in base.signs else None
        case Checked():
            return event.check if event.check in base.checks else None
        case Reading():
            return base.links.check_of.get(event.setting)
    return None


Ways = tuple[tuple[str, ...], npt.NDArray[np.float64]]
"""Setups in order, and minutes from each to each (graph.setup_minutes)."""


def steps_done(base: Knowledge, ways: Ways, events: tuple[AnyEvent, ...]) -> list[Done]:
    """Steps in the order done. Several entries in a row for one step are that step done once."""
    known = [(step, e) for e in events if (step := step_of(base, e)) is not None]
    runs = [
        (step, [event for _, event in run])
        for step, run in groupby(known, key=lambda pair: pair[0])
    ]
    names, moves = ways
    done, here = [], base.start_setup
    for step, run in runs:
        item = base.checks.get(step) or base.signs[step]
        times = [event.minutes for event in run if event.minutes is not None]
        there = place_of(base, here, step)
        way = float(moves[names.index(here), names.index(there)])
        taken = sum(times) if times else None
        done.append(Done(step, item.minutes, way, taken, step in base.signs))
        here = place_after(base, here, step)
    return done
