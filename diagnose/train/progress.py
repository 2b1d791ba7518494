"""Where a learner is strong and weak, by mechanism; a crew at a glance."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from statistics import median
from typing import Literal

from fsrs import Card

from diagnose.knowledge.model import Knowledge
from diagnose.say.text import count, table, wrapped
from diagnose.train.course import Course, stage_of
from diagnose.train.schedule import due, item, recall, sits
from diagnose.train.store import Practice

LAST = 8
"""So many of the latest practices make the picture."""
STRONG_RECALL = 0.9
"""A mechanism is strong while it is expected to be remembered with at least this chance."""

Word = Literal["strong", "fading", "coming", "weak", "not met"]
MEANINGS: dict[Word, str] = {
    "strong": "right the last time, and its next day has not come",
    "fading": "it sat once; its day to come back is here",
    "coming": "right the last time, still in the first repeats",
    "weak": "missed the last time",
    "not met": "not practised yet",
}


@dataclass(frozen=True)
class Strength:
    """How a learner stands with one mechanism."""

    mechanism: str
    word: Word
    last: tuple[bool, ...]
    """Right or missed, oldest first; looks and cases together."""

    @property
    def picture(self) -> str:
        """`#` right, `-` missed, `.` not yet practised; the latest on the right."""
        return "".join("#" if right else "-" for right in self.last).rjust(LAST, ".")


def strengths(
    course: Course, practices: Iterable[Practice], cards: Mapping[str, Card], now: datetime
) -> list[Strength]:
    """Every mechanism, in the order of the course."""
    by_mechanism: dict[str, list[bool]] = {name: [] for name in course.mechanisms}
    for practice in practices:
        if practice.mechanism in by_mechanism:
            by_mechanism[practice.mechanism].append(practice.right)
    return [
        Strength(name, _word(marks, cards, name, now), tuple(marks[-LAST:]))
        for name, marks in by_mechanism.items()
    ]


def _word(marks: list[bool], cards: Mapping[str, Card], mechanism: str, now: datetime) -> Word:
    name = item("mechanism", mechanism)
    if not marks or name not in cards:
        return "not met"
    if not marks[-1]:
        return "weak"
    if not sits(cards, [name]):
        return "coming"
    fresh = cards[name].due > now and recall(cards, name, now) >= STRONG_RECALL - 1e-9
    return "strong" if fresh else "fading"


def progress_lines(
    base: Knowledge,
    course: Course,
    learner: str,
    practices: list[Practice],
    cards: Mapping[str, Card],
    now: datetime,
) -> list[str]:
    """Strong and weak by mechanism, in words and as a small picture."""
    stands = strengths(course, practices, cards, now)
    weak = [base.mechanisms[s.mechanism].name for s in stands if s.word == "weak"]
    waiting = due(cards, now)
    stage = stage_of(course, "cause", cards)
    lines = wrapped(f"{learner}: {_totals(practices)}.")
    lines += wrapped(f"Weak: {'; '.join(weak)}." if weak else "Nothing was missed last time.")
    lines += [f"Waiting now: {count(len(waiting), 'thing')}. In the course: {stage}.", ""]
    lines += table((s.picture, s.word, base.mechanisms[s.mechanism].name) for s in stands)
    lines += ["", f"  # right  - missed  . not yet; the latest of {LAST} on the right"]
    used = dict.fromkeys(s.word for s in stands)
    return lines + table((f"{word}:", MEANINGS[word]) for word in MEANINGS if word in used)


def _totals(practices: list[Practice]) -> str:
    kinds = {
        "case": count(sum(p.kind == "case" for p in practices), "case"),
        "look": count(sum(p.kind == "look" for p in practices), "look"),
        "set": count(sum(p.kind == "set" for p in practices), "setting"),
    }
    unsafe = sum(p.end == "unsafe" for p in practices)
    text = ", ".join(kinds.values())
    return f"{text}; {count(unsafe, 'case')} ended by an unsafe step" if unsafe else text


def crew_lines(
    base: Knowledge,
    course: Course,
    crew: Mapping[str, tuple[list[Practice], Mapping[str, Card]]],
    now: datetime,
) -> list[str]:
    """One row a learner for the foreman: what was done, how safely, how well, what to work on."""
    if not crew:
        return ["Nobody has practised yet."]
    head = ("", "cases", "found", "unsafe", "score", "last", "weak at")
    rows = [head]
    for learner, (practices, cards) in crew.items():
        cases = [p for p in practices if p.kind == "case"]
        scores = [p.score for p in cases[-LAST:] if p.score is not None]
        stands = strengths(course, practices, cards, now)
        weak = [base.mechanisms[s.mechanism].name for s in stands if s.word == "weak"]
        rows.append((
            learner, str(len(cases)), str(sum(p.right for p in cases)),
            str(sum(p.end == "unsafe" for p in cases)), f"{median(scores):.0f}" if scores else "-",
            f"{practices[-1].at:%Y-%m-%d}" if practices else "-", "; ".join(weak) or "-",
        ))  # fmt: skip
    return [
        *table(rows),
        "",
        *wrapped(f"score: the middle one of the last {LAST} cases, of 100; luck is left out."),
    ]
