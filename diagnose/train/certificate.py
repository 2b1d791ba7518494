"""A printable page of what was practised. It proves nothing, and says so."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from fsrs import Card

from diagnose.knowledge.model import Knowledge
from diagnose.say.page import render
from diagnose.say.text import count, table, wrapped
from diagnose.train.course import Course
from diagnose.train.progress import Strength, strengths
from diagnose.train.store import Practice

NO_LICENCE = (
    "This page lists exercises at a screen. It is no licence and no proof of competence, and "
    "allows nobody to work on a machine. Working on a baler needs instruction at that machine "
    "by someone trained for it, its own manual, and the rules of the place."
)


@dataclass(frozen=True)
class Certificate:
    """What one learner practised."""

    learner: str
    base: Knowledge
    first: datetime
    last: datetime
    cases: int
    found: int
    unsafe: int
    looks: int
    looks_right: int
    settings: tuple[tuple[str, int, int], ...]
    """Name of each setting, times practised, times right."""
    mechanisms: tuple[Strength, ...]
    practised: Mapping[str, tuple[int, int]]
    """Mechanism -> times practised, times right."""

    @property
    def summary(self) -> list[str]:
        """What was done, a line each."""
        lines = [f"{count(self.cases, 'case')} of bad ties, {self.found} of them found"]
        if self.unsafe:
            lines.append(f"{count(self.unsafe, 'case')} ended by an unsafe step")
        lines.append(f"{count(self.looks, 'look')} at a failed tie, {self.looks_right} right")
        lines += [
            f"{name}: {count(n, 'reading')} set, {right} right" for name, n, right in self.settings
        ]
        return lines


def certificate_of(
    base: Knowledge,
    course: Course,
    learner: str,
    practices: list[Practice],
    cards: Mapping[str, Card],
    now: datetime,
) -> Certificate:
    """From at least one practice."""
    cases = [p for p in practices if p.kind == "case"]
    looks = [p for p in practices if p.kind == "look"]
    sets = [p for p in practices if p.kind == "set" and p.item in base.settings]
    tried, right = Counter(p.item for p in sets), Counter(p.item for p in sets if p.right)
    seen = Counter(p.mechanism for p in practices if p.mechanism)
    known = Counter(p.mechanism for p in practices if p.mechanism and p.right)
    return Certificate(
        learner=learner,
        base=base,
        first=practices[0].at,
        last=practices[-1].at,
        cases=len(cases),
        found=sum(p.right for p in cases),
        unsafe=sum(p.end == "unsafe" for p in cases),
        looks=len(looks),
        looks_right=sum(p.right for p in looks),
        settings=tuple((base.settings[n].name, tried[n], right[n]) for n in tried),
        mechanisms=tuple(strengths(course, practices, cards, now)),
        practised={name: (seen[name], known[name]) for name in course.mechanisms},
    )


def certificate_lines(page: Certificate) -> list[str]:
    """As text."""
    base = page.base
    rows = [
        (base.mechanisms[name].name, f"{count(times, 'time')}, {right} right")
        for name, (times, right) in page.practised.items()
        if times
    ]
    return [
        "What was practised",
        "",
        f"  Name      {page.learner}",
        f"  Between   {page.first:%Y-%m-%d} and {page.last:%Y-%m-%d}",
        "",
        *table((line,) for line in page.summary),
        "",
        *table(rows),
        "",
        *wrapped(NO_LICENCE),
        "",
        f"Rules: {base.base.name}, version {base.version} ({base.digest})",
    ]


def certificate_page(page: Certificate) -> str:
    """As one self-contained HTML page for A4."""
    rows = [
        (page.base.mechanisms[s.mechanism].name, *page.practised[s.mechanism], s)
        for s in page.mechanisms
        if page.practised[s.mechanism][0]
    ]
    return render("train/certificate.html", page=page, rows=rows, no_licence=NO_LICENCE)
