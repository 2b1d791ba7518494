"""A learner at the desk: what comes next is played, judged and kept. Console and disk meet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from random import Random

from diagnose.case import Case
from diagnose.errors import InputError
from diagnose.knowledge.model import Knowledge
from diagnose.machine.adjustment import Adjustment
from diagnose.machine.profile import MachineFile
from diagnose.machine.units import shown
from diagnose.say.text import wrapped
from diagnose.session.reasoner import Reasoner
from diagnose.train import coach, look, setting, wording
from diagnose.train.course import Course, make_course, next_item
from diagnose.train.deal import SOLVED, Deal, deal, deal_of_case
from diagnose.train.dialogue import CaseDialogue, Console, pick
from diagnose.train.judge import Judge, score
from diagnose.train.planner_way import planner_plays
from diagnose.train.play import Played
from diagnose.train.schedule import due, item
from diagnose.train.store import Progress
from diagnose.train.story import story_lines
from diagnose.views.setting import tolerance_lines

Confirmed = Callable[[], list[tuple[Case, str]]]
"""Reads the solved cases of a casebook, with their causes, when they are wanted."""


@dataclass(frozen=True)
class Lessons:
    """One learner, one rule base, one progress file."""

    reasoner: Reasoner
    progress: Progress
    learner: str
    console: Console
    random: Random
    confirmed: Confirmed = list
    machine: MachineFile | None = None
    """The learner's own machine, whose manual's tolerances the rules hold already."""
    inches: bool = False
    now: Callable[[], datetime] = lambda: datetime.now(UTC)

    @property
    def base(self) -> Knowledge:
        return self.reasoner.base

    @cached_property
    def judge(self) -> Judge:
        return Judge(self.reasoner)

    @cached_property
    def course(self) -> Course:
        return make_course(self.reasoner.tables)

    def case(self, code: str | None = None, *, drop: bool = False) -> bool:
        """Play a case: the one left open, the one named, or the one whose turn it is.

        True when it came to its end. Raises InputError while another case is open.
        """
        opened = None if drop else self.progress.open_case(self.learner)
        if opened and code not in (None, opened[0]):
            raise InputError(
                f"case {opened[0]} is still open: go on with it without naming another, "
                "or give it up with --drop"
            )
        dealt = self._deal(opened[0] if opened else code)
        moves = opened[1] if opened else []
        if opened and opened[2] != self.base.digest:
            # Under other rules the number is another case, and what was done in it means nothing.
            self.console.say(["The rules have changed since: the case begins afresh.", ""])
            moves = []
        dialogue = CaseDialogue(
            self.judge, dealt, self.console, self._keep, moves, inches=self.inches
        )
        self._keep(dialogue.played)
        played = dialogue.run()
        if played.here.end is None:
            self.console.say(["", "The case waits for you: diagnose train goes on with it."])
            return False
        self._end(played)
        return True

    def _keep(self, played: Played) -> None:
        self.progress.keep_open(self.learner, played.case.code, played.moves, self.base.digest)

    def _deal(self, code: str | None) -> Deal:
        tables = self.reasoner.tables
        if code is None:
            cards = self.progress.cards(self.learner)
            return coach.next_case(
                tables, self.course, cards, self.now(), self.random, self._last_mechanism()
            )[0]
        if not code.startswith(SOLVED):
            return deal(tables, code)
        wanted = code.removeprefix(SOLVED)
        found = [pair for pair in self.confirmed() if pair[0].id.startswith(wanted)]
        exact = [pair for pair in found if pair[0].id == wanted] or found
        if len(exact) != 1:
            what = "several solved cases begin" if exact else "no solved case begins"
            raise InputError(
                f"{what} with '{wanted}' in this casebook; 'diagnose cases list' shows them, "
                "--casebook names another, --drop gives an open case up"
            )
        return deal_of_case(tables, *exact[0])

    def solved_case(self) -> str:
        """The code of a solved case, any of the casebook's. Raises InputError when it has none."""
        known = [case.id for case, cause in self.confirmed() if cause in self.course.causes]
        if not known:
            raise InputError("the casebook holds no solved case that these rules can tell of")
        return f"{SOLVED}{self.random.choice(known)}"

    def _last_mechanism(self) -> str | None:
        met = [p.mechanism for p in self.progress.practices(self.learner) if p.mechanism]
        return met[-1] if met and met[-1] in self.base.mechanisms else None

    def _end(self, played: Played) -> None:
        """Keep what came of a case first, then tell the story."""
        judgements = self.judge.judged(played)
        planner = planner_plays(self.judge, played.case)
        cards = self.progress.cards(self.learner)
        rules = self.base.digest
        practice, reviews = coach.of_case(played, judgements, planner, cards, self.now(), rules)
        self.progress.record(self.learner, practice, reviews, close=True)
        stage = min(played.here.stage, len(played.case.faults) - 1)
        others = [
            f"{name} on this case: {wording.ended_text(p.end, p.minutes or 0, p.score or 0)}"
            for name, p in self.progress.others_on(played.case.code, rules, self.learner)
        ]
        self.console.say([
            "",
            *story_lines(self.reasoner.tables, played.case, stage, self.inches),
            "",
            *wording.end_lines(played, score(judgements), planner, others),
        ])  # fmt: skip

    def look(self, times: int) -> None:
        """Show so many bales, one after the other, and ask for the mechanism."""
        tables, right = self.reasoner.tables, 0
        for number in range(1, times + 1):
            cards = self.progress.cards(self.learner)
            chosen = next_item(self.course, "mechanism", cards, self.now(), self._last_mechanism())
            seen = look.deal_look(tables, self.course, chosen.name, self.random)
            self.console.say([f"Bale {number} of {times}", *look.question_lines(tables, seen)])
            self.console.say(["", *look.choice_lines(tables)] if number == 1 else [])
            answer = self._picked("\nWhat went wrong? ", look.mechanism_labels(tables))
            if answer is None:
                break
            practice, reviews = coach.of_look(seen, answer, cards, self.now(), self.base.digest)
            self.progress.record(self.learner, practice, reviews, close=False)
            right += practice.right
            self.console.say([*look.answer_lines(tables, seen, answer), f"{right} right.", ""])

    def set_up(self, name: str | None = None) -> None:
        """One setting: a reading entered or dealt, which way to turn, how far."""
        name = name or self._next_setting()
        body = self.base.settings[name]
        self.console.say(
            [body.name[:1].upper() + body.name[1:], *tolerance_lines(body, self.inches)]
        )
        task = self._task(name)
        if task is not None:
            self._answer_setting(task)

    def _task(self, name: str) -> setting.Task | None:
        """A reading typed or dealt; None when the learner leaves."""
        while True:
            typed = self._asked("\nReading (Enter: one is dealt): ")
            if typed is None:
                return None
            if not typed:
                return setting.deal_task(self.base, name, self.random, self.machine)
            try:
                reading = setting.reading_typed(name, self.base.settings[name], typed)
                return setting.task_of(self.base, name, reading, self.random, self.machine)
            except InputError as error:
                self.console.say(wrapped(f"{error}"))

    def _answer_setting(self, task: setting.Task) -> None:
        body, known = task.setting, setting.adjuster_text(task)
        self.console.say([f"It reads {self._reading(task)}."])
        self.console.say(wrapped(f"Adjuster: {known}.") if known else [])
        ways = {
            "more": f"turn it so that {body.more}",
            "less": f"turn it so that {body.less}",
            "leave": "leave it alone",
        }
        self.console.say([f"  {i}  {text}" for i, text in enumerate(ways.values(), 1)])
        way = self._picked("Which way? ", ways)
        if way is None:
            return
        amount = 0.0 if way == "leave" else self._amount(task)
        if amount is None:
            return
        verdict = setting.judge_set(task, way, amount)  # type: ignore[arg-type]
        cards = self.progress.cards(self.learner)
        practice, reviews = coach.of_set(task, verdict, cards, self.now(), self.base.digest)
        self.progress.record(self.learner, practice, reviews, close=False)
        self.console.say(setting.verdict_lines(task, verdict, self.inches))
        self.console.say(self._again(task.wanted))

    def _reading(self, task: setting.Task) -> str:
        """As the learner typed it, or as lengths are wanted."""
        value, unit = task.reading.value, task.reading.unit
        return (
            shown(value, unit, inches=self.inches) if unit in ("mm", "N") else f"{value:g} {unit}"
        )

    def _again(self, found: Adjustment) -> list[str]:
        moves = [self.base.settings[name].name for name in found.setting.moves]
        return wrapped(f"Then measure again: {'; '.join(moves)}.") if moves else []

    def _next_setting(self) -> str:
        names = list(setting.adjustable(self.base))
        cards = self.progress.cards(self.learner)
        items = {item("setting", name): name for name in names}
        waiting = [items[one] for one in due(cards, self.now()) if one in items]
        new = [name for one, name in items.items() if one not in cards]
        soonest = sorted(
            names, key=lambda n: getattr(cards.get(item("setting", n)), "due", self.now())
        )
        return [*waiting, *new, *soonest][0]

    def _amount(self, task: setting.Task) -> float | None:
        while True:
            typed = self._asked("How far? (2 turns, 1 turn 3 flats, 3 mm) ")
            if typed is None:
                return None
            try:
                return setting.parse_amount(task, typed)
            except InputError as error:
                self.console.say(wrapped(f"{error}"))

    def _picked(self, prompt: str, options: dict[str, str]) -> str | None:
        while True:
            typed = self._asked(prompt)
            if typed is None:
                return None
            if not typed:
                continue
            if len(typed) == 1 and not typed.isdigit():
                self.console.say([f"Type 1 to {len(options)}, or words of one; s leaves."])
                continue
            try:
                return pick(options, typed)
            except InputError as error:
                self.console.say(wrapped(f"{error}"))

    def _asked(self, prompt: str) -> str | None:
        """What was typed; None when the learner leaves."""
        try:
            typed = self.console.ask(prompt).strip()
        except EOFError:
            return None
        return None if typed.lower() in ("s", "leave") else typed
