"""From the pattern of signs a log shows to suspects and the next check.

The same engine, tables and planner as in a question session. Troubles that show the same
codes and answers are one pattern, and a pattern is reasoned once.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.case import Case, Event, Logged, Seen
from diagnose.errors import DiagnoseError
from diagnose.knowledge.acts import cautions_of
from diagnose.knowledge.model import Knowledge
from diagnose.log.troubles import Trouble
from diagnose.machine.tolerance import called
from diagnose.session import WORK_LIST, Diagnosis, Reasoner, Suspect, diagnose

SHOWN = 5
"""Suspects kept of each pattern."""


@dataclass(frozen=True)
class Pattern:
    """What a trouble shows, without where, when and how many."""

    codes: tuple[str, ...]
    answers: tuple[tuple[str, tuple[str, ...]], ...]
    """(sign, possible answers) by sign."""


@dataclass(frozen=True)
class Action:
    """Something to do at the machine, with the minutes it takes and the way to get there."""

    id: str
    do: str
    minutes: float
    way: float
    setup: str
    tool: str
    people: int
    tolerance: str
    basis: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Reasoned:
    """What follows from a pattern."""

    pattern: Pattern
    suspects: tuple[Suspect, ...]
    mechanism: str
    """The likeliest mechanism over all causes."""
    mechanism_chance: float
    check: Action | None
    """The next check; None when nothing is left to check and someone has to be called."""
    ask: str | None
    """A question worth asking before it (its sign), where the planner says so."""


def pattern_of(trouble: Trouble, base: Knowledge) -> Pattern:
    """The codes and answers of a trouble that the rule base knows.

    Which knotters, since when and how often are signs of bad ties, so they count only where
    a code says that ties went bad.
    """
    answers: dict[str, tuple[str, ...]] = {}
    for name, _ in trouble.codes:
        sign, _, answer = name.partition("=")
        if answer:
            answers[sign] = (*answers.get(sign, ()), answer)
    is_bad_tie = any(n in base.codes and base.codes[n].bad_tie for n, _ in trouble.codes)
    if trouble.which.answer and is_bad_tie:
        answers[base.roles.which.sign] = (trouble.which.answer,)
    if trouble.course and is_bad_tie:
        answers[base.roles.since.sign] = trouble.course.since
        answers[base.roles.often.sign] = trouble.course.often
    logged = {name for name, _ in trouble.codes}
    codes = [name for name in base.codes if name in logged]
    known = ((sign, answers[sign]) for sign in base.signs if answers.get(sign))
    return Pattern(tuple(codes), tuple(known))


def case_of(pattern: Pattern, base: Knowledge) -> Case:
    """The pattern as a case: what was logged, and the answers that the log gives."""
    events: list[Event] = [Logged(code=code) for code in pattern.codes]
    events += [Seen(sign=sign, answers=answers) for sign, answers in pattern.answers]
    return Case(id="log", rules=base.base.version, events=tuple(events))


class PatternReasoner:
    """Reasons each distinct pattern once; counts how often it was asked."""

    def __init__(self, reasoner: Reasoner) -> None:
        self.reasoner = reasoner
        self._known: dict[Pattern, Reasoned] = {}
        self.asked = 0

    @property
    def distinct(self) -> int:
        return len(self._known)

    def reason(self, pattern: Pattern) -> Reasoned:
        """Suspects and next check of a pattern."""
        self.asked += 1
        if pattern not in self._known:
            self._known[pattern] = reason(self.reasoner, pattern)
        return self._known[pattern]


def reason(reasoner: Reasoner, pattern: Pattern) -> Reasoned:
    """Reason one pattern, without memory. Raises DiagnoseError naming the pattern."""
    try:
        found = diagnose(reasoner, case_of(pattern, reasoner.base), WORK_LIST)
    except DiagnoseError as error:
        raise DiagnoseError(f"the signs {', '.join(pattern.codes)}: {error}") from None
    mechanisms = found.posterior.by_mechanism
    mechanism = max(mechanisms, key=lambda m: mechanisms[m])
    return Reasoned(
        pattern,
        found.suspects[:SHOWN],
        mechanism,
        mechanisms[mechanism],
        _next_check(reasoner, found),
        found.step.id if found.step.kind == "ask" else None,
    )


def _next_check(reasoner: Reasoner, found: Diagnosis) -> Action | None:
    """The planner's step when it is a check, else the best check among its other steps."""
    step = found.step
    if step.kind == "check":
        return action_of(reasoner, step.id)
    if step.kind == "mend":
        return action_of(reasoner, next(c for c, cause in found.known.evidence.results if cause))
    checks = [other for other in step.others if other.kind == "check"]
    best = min(checks, key=lambda other: other.total, default=None)
    return action_of(reasoner, best.id) if best else None


def action_of(reasoner: Reasoner, check: str) -> Action:
    """The check as something to do, from where a search begins."""
    base, tables = reasoner.base, reasoner.tables
    body = base.checks[check]
    start, there = tables.setups.index(base.start_setup), tables.setups.index(body.setup)
    setting = base.settings.get(body.setting or "")
    tolerance = ""
    if setting:
        low, high = setting.band
        figures = f"{setting.nominal:g} {setting.unit} ({low:g} to {high:g})"
        tolerance = called(setting, figures)
    return Action(
        id=check,
        do=body.do,
        minutes=tables.minutes[check],
        way=float(tables.moves[start, there]),
        setup=base.setups[body.setup].name,
        tool=body.tool,
        people=body.people,
        tolerance=tolerance,
        basis=str(setting.basis if setting else body.basis),
        cautions=cautions_of(base, check),
    )
