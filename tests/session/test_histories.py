"""Whatever is typed in whatever order: nothing is lost, and what follows is recomputed alike."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime
from functools import cache

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from diagnose.bale.dialogue import Dialogue
from diagnose.case import Case, Machine
from diagnose.knowledge import load_rules
from diagnose.say import data
from diagnose.session import Diagnosis, Reasoner, diagnose
from diagnose.session.step import Step
from diagnose.views.diagnosis import diagnosis_view
from tests.small_base import ROLES, SOMETHING_ELSE, small_base
from tests.technician import clock

WHICH, OFTEN = ROLES.which, ROLES.often
RECOMPUTED = 10
"""Every so many steps belief and step are worked out anew: five places in a history of fifty."""
NUMBER = st.integers(1, 40)


@cache
def small() -> Reasoner:
    """Three faults, two looks at the bale, one at the machine that a check wipes away."""
    base = small_base(
        causes={
            "slack": ("often", {"missed": "usually", "opened": "sometimes"}),
            "worn": ("sometimes", {"opened": "usually"}),
            "dirt": ("sometimes", {"missed": "about half", "opened": "about half"}),
            SOMETHING_ELSE: ("rarely", {"missed": "about half", "opened": "about half"}),
        },
        signs={
            "hangs": (("one_end", "open", "none"), {}),
            WHICH.sign: ((WHICH.one, WHICH.few, WHICH.wandering, WHICH.all), {}),
            OFTEN.sign: ((OFTEN.once, OFTEN.untold), {}),
            "end": (("bent", "straight"), {}),
            "lies": (("bare", "knot", "wound"), {"bare": "usually"}),
        },
        shows={
            "missed/hangs": {"one_end": "usually"},
            f"worn/{WHICH.sign}": {WHICH.one: "usually"},
            f"slack/{WHICH.sign}": {WHICH.all: "usually"},
            "opened/hangs": {"open": "usually"},
            "worn/end": {"bent": "almost always"},
            "dirt/lies": {"wound": "usually"},
        },
        checks={
            "pull": ("round", 2, {"slack": "seldom"}),
            "look": ("deck", 4, {"worn": "almost never", "dirt": "sometimes"}),
            "wipe": ("deck", 3, {"dirt": "almost never"}),
        },
        moves={("round", "deck"): 5},
    )
    signs, checks = dict(base.signs), dict(base.checks)
    signs["hangs"] = signs["hangs"].model_copy(update={"first": 1})
    signs["lies"] = signs["lies"].model_copy(update={"setup": "deck"})
    checks["wipe"] = checks["wipe"].model_copy(update={"destroys": ["lies"]})
    base.signs.update(signs)
    base.checks.update(checks)
    return Reasoner(base)


@cache
def shipped() -> Reasoner:
    return Reasoner(load_rules())


class Lines:
    """Types these lines, then leaves."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = list(lines)
        self.said: list[str] = []

    def say(self, lines: list[str]) -> None:
        self.said += lines

    def ask(self, prompt: str) -> str:
        self.said.append(prompt)
        return self.lines.pop(0) if self.lines else "s"


class Killed(BaseException):
    """The program is gone in the middle of keeping what was typed."""


class Histories(RuleBasedStateMachine):
    """One bad bale; after every line the session is left and taken up again from what was kept."""

    reasoner = staticmethod(small)

    def __init__(self) -> None:
        super().__init__()
        self.kept = Case(id="h", machine=Machine(knotters=6)).model_dump_json()
        self.minute = self.seen = 0
        self.known: tuple[str, Diagnosis] | None = None

    @property
    def case(self) -> Case:
        return Case.model_validate_json(self.kept)

    def now(self) -> Diagnosis:
        if self.known is None or self.known[0] != self.kept:
            self.known = self.kept, diagnose(self.reasoner(), self.case)
        return self.known[1]

    def type(self, *lines: str, dies: bool = False) -> Case:
        """Type lines into a session taken up anew; returns the case it ended with."""

        def save(case: Case) -> None:
            if dies:
                raise Killed
            self.kept = case.model_dump_json()

        self.minute += 20
        start = datetime(2026, 7, 21, tzinfo=UTC)
        times = clock(start.replace(hour=self.minute // 60 % 24, minute=self.minute % 60))
        dialogue = Dialogue(self.reasoner(), self.case, Lines(list(lines)), save, now=times)
        dialogue.run()
        return dialogue.case

    def answers(self, step: Step, number: int) -> list[str]:
        """What may be typed at a step to answer it."""
        base = self.reasoner().base
        match step.kind:
            case "ask":
                return [str(1 + number % len(base.signs[step.id].answers))]
            case "check":
                return [str(1 + number % (1 + len(base.checks[step.id].confirms)))]
            case "prove":
                failed = f"{number % 5} f {2 + number % 2 * 3}"
                return [failed if number % 3 else str(step.bales)]
            case "safe":
                return ["y"]
        return [""]

    @rule(number=NUMBER)
    def answer(self, number: int) -> None:
        step, before = self.now().step, len(self.case.events)
        self.type(*self.answers(step, number))
        if step.kind in ("ask", "check", "safe", "mend", "prove"):
            assert len(self.case.events) >= before + 1

    @rule(number=NUMBER)
    def words(self, number: int) -> None:
        step = self.now().step
        if step.kind == "ask":
            texts = list(self.reasoner().base.signs[step.id].answers)
            self.type(texts[number % len(texts)])

    @rule(number=NUMBER)
    def by_knotter(self, number: int) -> None:
        """Two knotters that look different, or the same: each answered by its number."""
        step, before = self.now().step, len(self.case.events)
        answers = len(self.reasoner().base.signs[step.id].answers) if step.kind == "ask" else 2
        self.type(f"2={1 + number % answers} 5={1 + number // 7 % answers}")
        if step.kind == "ask" and self.reasoner().base.signs[step.id].scope != "bale":
            assert len(self.case.events) == before + 2

    @rule(key=st.sampled_from(["d", "l", "s", "?", "h", "n a remark", "nonsense", "!", "set", ""]))
    def key(self, key: str) -> None:
        before = self.case.events
        self.type(key)
        assert self.case.events[: len(before)] == before

    @rule()
    def back(self) -> None:
        before = self.case.events
        self.type("b")
        assert len(self.case.events) <= len(before)

    @rule(number=NUMBER)
    def other(self, number: int) -> None:
        before = self.case.events
        self.type("o", str(1 + number % 3), str(1 + number % 2))
        assert self.case.events[: len(before)] == before

    @rule(number=NUMBER)
    def review(self, number: int) -> None:
        before = len(self.case.events)
        self.type("r", str(1 + number % 4), str(1 + number % 2))
        assert len(self.case.events) >= before - 6

    @rule(number=NUMBER)
    def killed(self, number: int) -> None:
        before = self.kept
        with suppress(Killed):
            self.type(*self.answers(self.now().step, number), dies=True)
        assert self.kept == before

    @invariant()
    def there_is_always_a_next_step(self) -> None:
        known = self.now()
        assert known.step.kind in ("safe", "ask", "check", "mend", "prove", "call", "cured")
        if known.step.kind in ("ask", "check", "mend"):
            assert self.reasoner().base.roles.make_safe in known.known.state.secured
        for knotter, repair in known.reasoned.findings.repaired.items():
            if repair is not None:
                assert repair.cause not in known.known.state.cleared_at(knotter)
            assert sum(s.chance for s in known.by_knotter.get(knotter or 0, ())) < 1 + 1e-9
        if known.known.state.is_put_off(known.step.id, known.step.knotter):
            assert known.step.again or known.step.before

    @invariant()
    def what_was_kept_says_the_same_again(self) -> None:
        self.seen += 1
        if self.seen % RECOMPUTED:
            return
        base = self.reasoner().base
        again = Case.model_validate_json(self.case.model_dump_json())
        afresh = diagnose(self.reasoner(), again)
        assert data(diagnosis_view(base, self.now())) == data(diagnosis_view(base, afresh))


class OfTheShippedRules(Histories):
    reasoner = staticmethod(shipped)


def run(machine: type[Histories], histories: int, steps: int) -> Iterator[None]:
    case = machine.TestCase()
    case.settings = settings(max_examples=histories, stateful_step_count=steps, deadline=None)
    case.runTest()
    yield


def test_histories_over_a_small_base() -> None:
    list(run(Histories, 25, 20))


@pytest.mark.slow
def test_two_thousand_histories_of_fifty_steps_over_a_small_base() -> None:
    list(run(Histories, 2000, 50))


@pytest.mark.slow
def test_a_hundred_histories_over_the_shipped_rules() -> None:
    list(run(OfTheShippedRules, 100, 50))
