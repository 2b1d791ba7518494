"""The shipped rule base made ready once, and a learner who types from a list."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from random import Random

import pytest

from diagnose.knowledge import load_rules
from diagnose.session import Reasoner
from diagnose.train.course import Course, make_course
from diagnose.train.judge import Judge
from diagnose.train.lessons import Lessons
from diagnose.train.store import Progress

MONDAY = datetime(2026, 5, 4, 7, 0, tzinfo=UTC)


class Script:
    """A console that types these lines and keeps what was said."""

    def __init__(self, lines: Iterable[str]) -> None:
        self._lines = iter(lines)
        self.screen: list[str] = []

    def say(self, lines: list[str]) -> None:
        self.screen += lines

    def ask(self, prompt: str) -> str:
        self.screen.append(prompt.strip())
        line = next(self._lines, None)
        if line is None:
            raise EOFError
        return line

    @property
    def text(self) -> str:
        """All that was said, on one line, so that a test need not know where a line ends."""
        return " ".join(" ".join(self.screen).split())


@pytest.fixture(scope="session")
def reasoner() -> Reasoner:
    return Reasoner(load_rules())


@pytest.fixture(scope="session")
def judge(reasoner: Reasoner) -> Judge:
    return Judge(reasoner)


@pytest.fixture(scope="session")
def course(reasoner: Reasoner) -> Course:
    return make_course(reasoner.tables)


class Desk:
    """Lessons for one learner on a progress file of this test's own."""

    def __init__(self, reasoner: Reasoner, path: Path) -> None:
        self.reasoner, self.path = reasoner, path
        self.now = MONDAY

    def lessons(self, progress: Progress, script: Script, learner: str = "Anna") -> Lessons:
        return Lessons(self.reasoner, progress, learner, script, Random(1), now=lambda: self.now)

    def case(self, code: str | None, *lines: str, learner: str = "Anna") -> str:
        script = Script(lines)
        with Progress(self.path) as progress:
            self.lessons(progress, script, learner).case(code)
        return script.text

    def look(self, *lines: str, times: int = 1) -> str:
        script = Script(lines)
        with Progress(self.path) as progress:
            self.lessons(progress, script).look(times)
        return script.text

    def set_up(self, name: str, *lines: str) -> str:
        script = Script(lines)
        with Progress(self.path) as progress:
            self.lessons(progress, script).set_up(name)
        return script.text


@pytest.fixture
def desk(reasoner: Reasoner, tmp_path: Path) -> Desk:
    return Desk(reasoner, tmp_path / "progress.db")
