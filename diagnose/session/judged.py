"""How one cause stands in a case: for the rules' named bales and for solved cases alike."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from diagnose.case import Case, Event, Logged, MadeSafe, Reading, Seen
from diagnose.inference.tables import Posterior
from diagnose.knowledge.model import Bale, Knowledge
from diagnose.session.diagnosis import EQUAL_CHANCE
from diagnose.session.reasoned import reason
from diagnose.session.reasoner import Reasoner


@dataclass(frozen=True)
class Judged:
    """The place of one cause among all of a case."""

    case: Case
    cause: str
    causes: tuple[str, ...]
    """All of them, in the rule base's order."""
    chances: tuple[float, ...]
    """Of all causes, in the same order."""

    @property
    def chance(self) -> float:
        """Of the cause in question."""
        return self.chances[self.causes.index(self.cause)]

    @cached_property
    def rivals(self) -> tuple[str, ...]:
        """The other causes, likeliest first; alike to so many decimals, as the rules name them."""
        chances = dict(zip(self.causes, self.chances, strict=True))
        others = (cause for cause in self.causes if cause != self.cause)
        return tuple(sorted(others, key=lambda cause: -round(chances[cause], EQUAL_CHANCE)))

    @cached_property
    def rank(self) -> int:
        """1 is first; who is as likely as another stands beside it."""
        own = round(self.chance, EQUAL_CHANCE)
        return 1 + sum(round(chance, EQUAL_CHANCE) > own for chance in self.chances)

    def odds(self, place: int = 1) -> float:
        """How many times as likely as the rival at that place among the rivals, from 1.

        At its own rank that is the next suspect; below 1, so many rivals stand before it.
        """
        return self.chance / self.chances[self.causes.index(self.rivals[place - 1])]


def judged(reasoner: Reasoner, case: Case, cause: str) -> Judged:
    """Run a case as a diagnosis does, as far as the chances. Raises InputError for unknown ids."""
    return standing_of(reason(reasoner, case).mean, case, cause)


def standing_of(posterior: Posterior, case: Case, cause: str) -> Judged:
    """The same from chances worked out already."""
    chances = posterior.by_cause
    return Judged(case, cause, tuple(chances), tuple(chances.values()))


def case_of(base: Knowledge, name: str, bale: Bale) -> Case:
    """A named bale as a case: the machine safe, then what was seen, logged and measured."""
    events: list[Event] = [MadeSafe()]
    for sign, given in bale.seen.items():
        events.append(Seen(sign=sign, answers=(given,) if isinstance(given, str) else tuple(given)))
    events += [Logged(code=code) for code in bale.codes]
    events += [
        Reading(setting=setting, value=value, unit=base.settings[setting].unit)
        for setting, value in bale.readings.items()
    ]
    return Case(id=name, events=tuple(events))
