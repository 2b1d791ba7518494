"""Setting to a reading: which way, how far. Judged by the sheet's own computation."""

from __future__ import annotations

import re
from dataclasses import dataclass
from random import Random
from typing import Literal

from diagnose.case import Reading
from diagnose.errors import InputError
from diagnose.knowledge.model import Knowledge, Setting
from diagnose.machine.adjustment import Adjustment, adjustment, move_lines
from diagnose.machine.grading import GradeOrLimit, grade
from diagnose.machine.profile import Adjuster, MachineFile
from diagnose.machine.slips import likely_meant
from diagnose.machine.threads import pitch
from diagnose.machine.units import convert, parse_quantity, shown
from diagnose.say.text import wrapped
from diagnose.train.deal import reading_beyond, reading_within

THREADS = ("M8", "M10", "M12", "M16")
"""Threads that practice adjusters have where no machine file says more. Assumed for practice."""
WELL_SET = 0.2
"""Share of the readings dealt that need no setting at all. Judgement."""

Way = Literal["more", "less", "leave"]
_BARE = re.compile(r"[\d.,/ ]+")
_PART = re.compile(r"(\d+ \d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?)\s*(turns?|flats?)\b")


@dataclass(frozen=True)
class Task:
    """One reading to set right."""

    name: str
    setting: Setting
    reading: Reading
    machine: MachineFile

    @property
    def wanted(self) -> Adjustment:
        """What the sheet says of it."""
        return adjustment(self.setting, self.reading, self.machine)


@dataclass(frozen=True)
class Verdict:
    """What a learner's turning leads to."""

    right: bool
    way_right: bool
    after: float
    """The reading it would give, in the setting's unit."""
    grade: GradeOrLimit


def adjustable(base: Knowledge) -> dict[str, Setting]:
    """The settings that are set by turning something."""
    return {name: setting for name, setting in base.settings.items() if setting.adjuster}


def deal_task(
    base: Knowledge, name: str, random: Random, machine: MachineFile | None = None
) -> Task:
    """A reading dealt for a setting; on a practice adjuster where the machine's is not known."""
    setting = base.settings[name]
    chance = random.random()
    if random.random() < WELL_SET:
        value = reading_within(setting, chance)
    else:
        sides = [s for s in ("low", "high") if getattr(setting, f"too_{s}")]
        value = reading_beyond(setting, random.choice(sides), chance)
    return task_of(
        base, name, Reading(setting=name, value=value, unit=setting.unit), random, machine
    )


def task_of(
    base: Knowledge,
    name: str,
    reading: Reading,
    random: Random,
    machine: MachineFile | None = None,
) -> Task:
    """A learner's own reading as a task. Raises InputError where its unit does not fit."""
    setting = base.settings[name]
    convert(reading.value, reading.unit, setting.unit)
    machine = machine or MachineFile(name="practice", knotters=1)
    if name not in machine.adjusters and setting.unit == "mm":
        practice = Adjuster(thread=random.choice(THREADS), direct=True)
        machine = machine.model_copy(update={"adjusters": {**machine.adjusters, name: practice}})
    return Task(name, setting, reading, machine)


def reading_typed(name: str, body: Setting, text: str) -> Reading:
    """A reading as typed; `!` behind it: so it is meant, however unlikely.

    Raises InputError for what is none, and asks back what looks like a slip.
    """
    plain = text.rstrip("! ")
    given = parse_quantity(plain, body.unit)
    reading = Reading(setting=name, value=given.value, unit=given.unit)
    convert(given.value, given.unit, body.unit)
    doubt = None if text.endswith("!") else likely_meant(body, reading)
    if doubt:
        meant, why = doubt
        raise InputError(
            f"{given} is far from the band: is {meant:g} {given.unit} meant ({why})? "
            f"Type it again, or {plain}! if it is so"
        )
    return reading


def adjuster_text(task: Task) -> str:
    """The adjuster in a few words; empty where nothing is known of it."""
    adjuster = task.machine.adjusters.get(task.name)
    if adjuster is None or adjuster.thread is None:
        return ""
    text = f"{adjuster.thread}, {pitch(adjuster.thread):g} mm a turn, {adjuster.flats} flats"
    text += f", lever {adjuster.ratio:g} to 1" if adjuster.arms else ""
    return text + (" (assumed for practice)" if task.machine.name == "practice" else "")


def parse_amount(task: Task, text: str) -> float:
    """`2 turns`, `1 turn 3 flats`, `4 flats` or `3 mm` as a movement in the setting's unit.

    Raises InputError for anything else.
    """
    plain = text.strip().lower().replace(" and ", " ")
    parts = _PART.findall(plain)
    if not parts:
        if task.wanted.per_turn is not None and _BARE.fullmatch(plain):
            raise InputError(f"{plain} of what? Type such as {plain} turns or {plain} mm")
        quantity = parse_quantity(plain, task.setting.unit)
        return abs(convert(quantity.value, quantity.unit, task.setting.unit))
    if _PART.sub("", plain).strip():
        raise InputError(f"'{text}' is not clear; type such as 1 turn 2 flats, or 3 mm")
    per_turn, adjuster = task.wanted.per_turn, task.machine.adjusters.get(task.name)
    if per_turn is None or adjuster is None:
        raise InputError(f"the thread is not known; say it in {task.setting.unit}")
    turns = 0.0
    for number, unit in parts:
        size = parse_quantity(number, "mm").value
        turns += size if unit.startswith("turn") else size / adjuster.flats
    return turns * per_turn


def judge_set(task: Task, way: Way, amount: float = 0.0) -> Verdict:
    """Right is what leaves the reading surely in its band; what is in it already is left alone."""
    setting, found = task.setting, task.wanted
    signed = {"more": amount, "less": -amount, "leave": 0.0}[way]
    after = found.value + signed
    grade_after = grade(setting, after, setting.unit, task.reading.uncertainty)
    if not found.wanted:
        return Verdict(way == "leave", way == "leave", after, grade_after)
    way_right = way == ("more" if found.move > 0 else "less")
    return Verdict(way_right and grade_after == "in", way_right, after, grade_after)


def verdict_lines(task: Task, verdict: Verdict, inches: bool = False) -> list[str]:
    """The verdict, and what the sheet says of the reading."""
    if verdict.right:
        head = "Right."
    elif not task.wanted.wanted:
        head = "No: it is in its band. Leave it alone."
    elif not verdict.way_right:
        head = "No: the wrong way, or left as it is."
    else:
        head = "The right way, but not into the band."
    after = shown(verdict.after, task.setting.unit, inches=inches)
    lines = wrapped(f"{head} It would read {after}.")
    # What a machine file lacks is for its owner; an exercise does without.
    said = [line for line in move_lines(task.wanted, inches=inches) if not line.startswith("(")]
    return lines + [part for line in said for part in wrapped(line)]
