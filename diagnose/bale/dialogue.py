"""The question session at a terminal. All state is the case; everything else is recomputed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from diagnose.bale.answers import check_answers, choose, events_from
from diagnose.bale.cautions import NOT_SAFE, is_safe, safe_lines
from diagnose.bale.opening import Console
from diagnose.case import Case, Event, MadeSafe, Mended, Noted, NotKnown, NotNow, Reading
from diagnose.case.state import refuse_unfit
from diagnose.errors import InputError, StoreError
from diagnose.knowledge.model import Knowledge
from diagnose.machine.grading import grade
from diagnose.machine.profile import MachineFile
from diagnose.machine.slips import likely_meant
from diagnose.machine.units import convert, parse_quantity, shown
from diagnose.say import Block, Choices, Gap, Para, lines, said
from diagnose.say.text import minutes_text, table, wrapped
from diagnose.session import Diagnosis, Reasoner, Step, diagnose
from diagnose.session.proof import by_luck
from diagnose.session.review import Told, changed, told
from diagnose.session.step import named_step
from diagnose.session.understanding import Doubtful
from diagnose.views.diagnosis import DiagnosisView, diagnosis_view, doubtful_blocks
from diagnose.views.record import told_said
from diagnose.views.step import StepView, luck, step_view
from diagnose.views.suspects import suspect_blocks

COMMANDS = "l not now | b back | r review | o other step | ? why | ! why not | s leave"
KEYS = f"number or words | d don't know | {COMMANDS}"
CHECK_KEYS = f"number or reading | {COMMANDS}"
MORE_KEYS = (
    "Knotters that look different: KNOTTER=ANSWER for each, such as 3=2 5=4. Where a step names "
    "its knotter, a bare answer is of that one.",
    "One of two answers, not sure which: 2/4. A remark to keep: n TEXT.",
)
SET_NOW = "Type set when it is set now, or set and the new figure."
OTHERS = 9
FAIR_TO_CALL = 60.0
"""Minutes of checks without a find after which calling is named. Judgement."""


class Leave(Exception):  # noqa: N818
    """The technician saves and leaves."""


class Dialogue:
    """One bad bale, from the first question to the proof."""

    def __init__(
        self,
        reasoner: Reasoner,
        case: Case,
        console: Console,
        save: Callable[[Case], None],
        *,
        numbers: bool = False,
        inches: bool = False,
        machine: MachineFile | None = None,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.reasoner, self.case, self.console, self.save = reasoner, case, console, save
        self.numbers, self.inches, self.machine, self.now = numbers, inches, machine, now
        self.told: set[str] = set()
        self.unsaved = False
        self.wanted: str | None = None
        self._shown_at = now()
        self._look_for: str | None = None
        self._clashes = 0
        self._doubtful: tuple[Doubtful, ...] = ()
        self._keys_told = self._numbered = False
        self._stood: list[str] = []
        """The suspects as they were shown last: the same are not shown again."""
        self._viewed: tuple[Diagnosis, DiagnosisView] | None = None

    @property
    def base(self) -> Knowledge:
        return self.reasoner.base

    def run(self) -> Diagnosis:
        """Ask until it is cured, nothing is left, or the technician leaves."""
        while True:
            diagnosis = diagnose(self.reasoner, self.case)
            self._tell_clashes(diagnosis)
            self._tell_doubtful(diagnosis)
            step = self._step(diagnosis)
            self._look_for = self.wanted and step.before
            if step.kind in ("cured", "call"):
                self.console.say(["", *self._end_lines(diagnosis, step)])
                if step.kind == "cured" or not self._go_on(diagnosis, step):
                    return diagnosis
                continue
            self.console.say(["", *self._put(diagnosis, step)])
            self.told |= set(step.cautions)
            self._shown_at = self.now()
            try:
                self._hear(diagnosis, step)
            except Leave:
                return diagnosis

    def _step(self, diagnosis: Diagnosis) -> Step:
        """The step to put: the best one, or the one that was chosen instead."""
        if self.wanted is None or diagnosis.step.kind in ("safe", "mend", "prove", "cured"):
            return diagnosis.step
        return named_step(self.reasoner, diagnosis.reasoned, self.wanted)

    def _put(self, diagnosis: Diagnosis, step: Step) -> list[str]:
        base = self.base
        if step.kind == "safe":
            return safe_lines(base)
        view = self._view(diagnosis)
        if step.kind == "mend":
            put = self._step_view(step)
            return lines([*put.blocks(), *view.along(), *put.prompt()])
        if step.kind == "prove":
            return lines([*self._step_view(step).blocks(), *view.along()])
        number = 1 + len(told(self.base, self.case))
        blocks: list[Block] = []
        standing = lines(view.standing.blocks())
        if not (step.opening or step.counts or standing == self._stood):
            blocks = [*view.standing.blocks(), Gap()]
            self._stood = standing
        blocks += self._step_view(step, number).blocks()
        shown_now = lines([*blocks, *self._numbering(step)])
        return shown_now + self._fair_to_call(diagnosis) + wrapped(self._keys(step), 2)

    def _numbering(self, step: Step) -> list[Block]:
        """Once a sitting: which knotter is number 1, where an answer can be given by knotter."""
        if self._numbered or step.kind != "ask" or self.base.signs[step.id].scope == "bale":
            return []
        self._numbered = True
        right = self.machine is not None and self.machine.knotter_one == "right"
        return [Para(said("bale.one_right" if right else "bale.one_left"), 2)]

    def _view(self, diagnosis: Diagnosis) -> DiagnosisView:
        """Of the diagnosis in hand; made once, as it is asked for line by line."""
        if self._viewed is None or self._viewed[0] is not diagnosis:
            made = diagnosis_view(
                self.base, diagnosis, numbers=self.numbers, inches=self.inches, machine=self.machine
            )
            self._viewed = diagnosis, made
        return self._viewed[1]

    def _step_view(self, step: Step, number: int = 1) -> StepView:
        return step_view(
            self.base, step, self.case, self.machine,
            number=number, told=self.told, inches=self.inches,
        )  # fmt: skip

    def _fair_to_call(self, diagnosis: Diagnosis) -> list[str]:
        """After an hour of checks that found nothing, calling is named as a fair choice."""
        clean = {check for check, found in diagnosis.known.evidence.results if found is None}
        minutes = sum(self.reasoner.tables.minutes[check] for check in clean)
        if minutes < FAIR_TO_CALL:
            return []
        return wrapped(
            f"About {minutes_text(minutes)} of checks have found nothing: the fault may be none of "
            "those known here. To call the workshop now is a fair choice: s leaves, and "
            "--resume --record FILE writes what they need.",
            2,
        )

    def _keys(self, step: Step) -> str:
        """All keys at the first step of a sitting, afterwards only where they are found."""
        if self._keys_told:
            return "h keys | ? why"
        self._keys_told = True
        return f"{KEYS if step.kind == 'ask' else CHECK_KEYS} | h all keys"

    def _hear(self, diagnosis: Diagnosis, step: Step) -> None:
        """Ask until something was typed that changes the case or chooses another step."""
        while True:
            typed = self.console.ask("> ").strip()
            try:
                if self._command(diagnosis, step, typed):
                    return
                self._unproved(step, typed)
                events = self._meant(events_from(self.base, step, typed), typed)
                self._add(events)
                self._tell_set(events)
            except InputError as error:
                self.console.say(wrapped(str(error), 2))
                continue
            return

    def _tell_set(self, events: list[Event]) -> None:
        """A figure set that is still out of its band is kept, and told to be out."""
        for event in events:
            if not isinstance(event, Mended) or event.setting is None or event.after is None:
                continue
            setting, unit = self.base.settings[event.setting], event.unit or ""
            graded = grade(setting, event.after, unit)
            if graded not in ("low", "high"):
                continue
            set_to = convert(event.after, unit, setting.unit)
            value, low, high = (
                shown(figure, setting.unit, inches=self.inches)
                for figure in (set_to, *setting.band)
            )
            told = said(
                "bale.set_low" if graded == "low" else "bale.set_high",
                value=value,
                low=low,
                high=high,
            )
            self.console.say(wrapped(str(told), 2))

    def _unproved(self, step: Step, typed: str) -> None:
        """Fewer clean bales than the proof takes are kept as a remark, and are no proof."""
        if step.kind != "prove" or not typed.isdigit() or int(typed) >= (step.bales or 0):
            return
        clean = said("count.clean_bale", n=int(typed))
        self._add([Noted(text=str(said("bale.clean_so_far", bales=clean)))])
        by = luck(by_luck(step.rate or 0.5, int(typed) * step.a_bale))
        raise InputError(
            f"not proved yet: {typed} of {step.bales} clean bales come by luck in {by}. Kept; "
            f"count on and type all of them, s leaves till then, or '{typed} ok' accepts it so"
        )

    def _meant(self, events: list[Event], typed: str) -> list[Event]:
        """The events, unless a reading looks like a slip of the pen and is not marked with `!`."""
        for event in events:
            if not isinstance(event, Reading) or typed.endswith("!"):
                continue
            slip = likely_meant(self.base.settings[event.setting], event)
            if slip:
                raise InputError(
                    f"{event.value:g} {event.unit} is far out; is {slip[0]:g} {event.unit} meant "
                    f"({slip[1]})? Type the reading again, with ! behind it if it is really so"
                )
        return events

    def _command(self, diagnosis: Diagnosis, step: Step, typed: str) -> bool:
        """Carry out a command; True when the step is over. Raises InputError where it goes on."""
        word, _, rest = typed.partition(" ")
        asked = step.kind in ("ask", "check")
        match word.lower():
            case "s" | "leave":
                raise Leave
            case "b" | "back" if not rest:
                self._back()
                return True
            case "n" if not rest:
                raise InputError("n TEXT keeps a remark; type it behind the n")
            case "n":
                self._add([Noted(text=rest)])
                self.console.say(["  Kept."])
                return self._again()
            case "h":
                self.console.say(wrapped(KEYS if step.kind == "ask" else CHECK_KEYS, 2))
                self.console.say([line for text in MORE_KEYS for line in wrapped(text, 2)])
                return self._again()
            case "?":
                self.console.say(lines(self._view(diagnosis).why()))
                return self._again()
            case _ if typed.startswith("!"):
                self._why_not(diagnosis, typed[1:].strip())
                return self._again()
            case "d" if step.kind == "ask" and not rest:
                self._add([NotKnown(sign=step.id, knotter=step.knotter)])
                return True
            case "d" if step.kind == "check" and not rest:
                raise InputError("a check is done or not: l puts it off till later")
            case "l" if asked and not rest:
                self._add([NotNow(step=step.id, knotter=step.knotter)])
                return True
            case "r" | "review" if not rest:
                return self._review()
            case "set" if asked:
                self._set_now(diagnosis, rest)
                return True
            case "o" if asked and not rest:
                return self._choose_other(diagnosis)
        if typed.lower() in ("don't know", "dont know") and step.kind == "ask":
            self._add([NotKnown(sign=step.id, knotter=step.knotter)])
            return True
        if step.kind == "safe":
            if not is_safe(typed):
                raise InputError(NOT_SAFE)
            self._add([MadeSafe()])
            return True
        return False

    def _again(self) -> bool:
        """Something was shown; the same step is still open."""
        raise InputError("(same step: type your answer)")

    def _add(self, events: list[Event]) -> None:
        now = self.now()
        minutes = max(0.0, round((now - self._shown_at).total_seconds() / 60, 2))
        case = self.case
        for i, event in enumerate(events):
            stamped = event.model_copy(update={"at": now, "minutes": 0.0 if i else minutes})
            refuse_unfit(self.base, case, stamped)
            case = case.with_event(stamped)
        self.case = case
        self.wanted = self._look_for
        self._keep()

    def _keep(self) -> None:
        """Save; when the disk refuses, say so at once and go on with everything in memory."""
        try:
            self.save(self.case)
            if self.unsaved:
                self.console.say(["  Saved again."])
            self.unsaved = False
        except StoreError as error:
            if not self.unsaved:
                self.console.say(wrapped(f"NOT SAVED: {error}. Going on; saving is tried again "
                                         "after each answer."))  # fmt: skip
            self.unsaved = True

    def _back(self) -> None:
        """Take back the last thing that was typed; remarks stay."""
        events = list(self.case.events)
        answered = [e for e in events if not isinstance(e, Noted)]
        if self.wanted is not None or not answered:
            self.wanted = None
            return
        last = answered[-1].at
        dropped = [e for e in answered if e.at == last] if last else answered[-1:]
        kept = tuple(e for e in events if not any(e is d for d in dropped))
        self.case = self.case.model_copy(update={"events": kept})
        self._keep()

    def _choose_other(self, diagnosis: Diagnosis) -> bool:
        """List the other steps worth naming and take one by number or words."""
        others = [o for o in diagnosis.step.others if o.kind != "call"]
        names = {
            o.id: (self.base.signs[o.id].ask if o.kind == "ask" else self.base.checks[o.id].do)
            for o in others
        }
        if not names:
            raise InputError("there is no other step now")
        least = diagnosis.step.expected or 0.0
        rows = [
            (f"{i:>2}", f"+{max(0.0, o.total - least):.0f} min", names[o.id])
            for i, o in enumerate(others[:OTHERS], 1)
        ]
        self.console.say(["  Other steps, and expected minutes more than the best:", *table(rows)])
        typed = self.console.ask("which (Enter: none)> ").strip()
        if not typed:
            return self._again()
        (self.wanted,) = choose(names, typed)[:1]
        return True

    def _review(self) -> bool:
        """List every answer given, and change one where it stands."""
        answers = told(self.base, self.case)
        if not answers:
            raise InputError("nothing was answered yet")
        given = Choices(tuple(told_said(self.base, one) for one in answers))
        self.console.say(["  Answers so far:", *lines([given])])
        typed = self.console.ask("which to change (Enter: none)> ").strip()
        if not typed:
            return self._again()
        if not typed.isdigit() or not 1 <= int(typed) <= len(answers):
            raise InputError(f"type 1 to {len(answers)}, or Enter to leave all as it was")
        return self._change(answers[int(typed) - 1])

    def _change(self, old: Told) -> bool:
        """Ask one answer anew. Later answers stay; those that cannot be any more are named."""
        asked = old.step in self.base.signs
        setting = None if asked else self.base.checks[old.step].setting
        knotter = getattr(old.events[0], "knotter", None) if len(old.events) == 1 else None
        step = Step("ask" if asked else "check", old.step, setting=setting, knotter=knotter)
        names = self.base.signs[old.step].answers if asked else check_answers(self.base, old.step)
        self.console.say(lines([Choices(tuple(names.values()))]))
        typed = self.console.ask("new answer (Enter: as it was)> ").strip()
        if not typed:
            return self._again()
        unknown = asked and typed.lower() in ("d", "don't know", "dont know")
        new: list[Event] = (
            [NotKnown(sign=old.step, knotter=knotter)]
            if unknown
            else self._meant(events_from(self.base, step, typed), typed)
        )
        self.case, aside = changed(self.base, self.case, old, new)
        self.wanted = None
        self._keep()
        for event in aside:
            self.console.say(wrapped(f"Set aside: {event.kind}, it cannot be any more.", 2))
        return True

    def _why_not(self, diagnosis: Diagnosis, typed: str) -> None:
        suspects = {s.id: s for s in self._view(diagnosis).suspects}
        if not typed:
            typed = self.console.ask("why not which cause (words of its name)> ").strip()
        for cause in choose({s.id: s.name for s in suspects.values()}, typed):
            self.console.say(lines(suspect_blocks(suspects[cause], self.numbers)))

    def _tell_doubtful(self, diagnosis: Diagnosis) -> None:
        """Each reading that is no find is told once."""
        doubtful = diagnosis.known.doubtful
        for reading, part in zip(doubtful, self._view(diagnosis).doubtful_readings, strict=True):
            if reading not in self._doubtful:
                self.console.say(["", *lines(doubtful_blocks(part))])
                if reading.cause:
                    self.console.say(wrapped(SET_NOW, 2))
        self._doubtful = doubtful

    def _set_now(self, diagnosis: Diagnosis, typed: str) -> None:
        """Record that a setting was set which the failed tie does not fit; the search goes on."""
        noted = [d for d in diagnosis.known.doubtful if d.cause]
        if not noted:
            raise InputError("nothing is noted that could be set now")
        last = noted[-1]
        unit = self.base.settings[last.setting].unit
        after = parse_quantity(typed, unit) if typed else None
        self._add([Mended(
            cause=last.cause or "", setting=last.setting, unit=after.unit if after else None,
            after=after.value if after else None, aside=True,
        )])  # fmt: skip

    def _tell_clashes(self, diagnosis: Diagnosis) -> None:
        clashes = len(diagnosis.known.contradictions)
        if clashes > self._clashes:
            self.console.say(lines(self._view(diagnosis).clashes(back=True)))
        self._clashes = clashes

    def _end_lines(self, diagnosis: Diagnosis, step: Step) -> list[str]:
        view = self._view(diagnosis)
        return lines(view.call() if step.kind == "call" else view.cured())

    def _go_on(self, diagnosis: Diagnosis, step: Step) -> bool:
        """After "nothing is left" the technician can still choose a step or go back."""
        while True:
            typed = self.console.ask("o other step, b back, s leave> ").strip()
            try:
                if typed.lower() == "o":
                    return self._choose_other(diagnosis)
                if self._command(diagnosis, step, typed):
                    return True
            except Leave:
                return False
            except InputError as error:
                self.console.say(wrapped(str(error), 2))
