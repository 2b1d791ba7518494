"""What each learner has practised, on disk: a SQLite file that only grows until someone deletes.

Every practice is one transaction with its reviews and cards, written through to the disk, so
that a crash loses at most what had not been answered yet.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, TypeVar

import platformdirs
from fsrs import Card, ReviewLog
from pydantic import TypeAdapter

from diagnose.errors import InputError, StoreError, nearest
from diagnose.train.play import Move

FORMAT = 1
_SCHEMA = """
CREATE TABLE practice (id INTEGER PRIMARY KEY, learner TEXT NOT NULL, data TEXT NOT NULL);
CREATE TABLE review (id INTEGER PRIMARY KEY, learner TEXT NOT NULL, item TEXT NOT NULL,
                     log TEXT NOT NULL);
CREATE TABLE card (learner TEXT NOT NULL, item TEXT NOT NULL, card TEXT NOT NULL,
                   PRIMARY KEY (learner, item));
CREATE TABLE open_case (learner TEXT PRIMARY KEY, code TEXT NOT NULL, moves TEXT NOT NULL,
                        rules TEXT NOT NULL);
CREATE INDEX practice_of ON practice (learner);
"""
_TABLES = ("practice", "review", "card", "open_case")

T = TypeVar("T")
Kind = Literal["case", "look", "set"]


@dataclass(frozen=True)
class Practice:
    """One thing practised."""

    at: datetime
    kind: Kind
    item: str
    """Id of the cause (case), mechanism (look) or setting (set)."""
    code: str
    right: bool
    end: str = ""
    """How a case ended: `found`, `unsafe`, `called`."""
    score: int | None = None
    minutes: float | None = None
    planner_minutes: float | None = None
    mechanism: str | None = None
    rules: str = ""
    """Digest of the rule base; a case number means the same only under the same rules."""


@dataclass(frozen=True)
class Review:
    """One review by the schedule: the card as it is now, and what was logged."""

    item: str
    """`cause:ID`, `mechanism:ID` or `setting:ID`."""
    card: Card
    log: ReviewLog


def default_path() -> Path:
    """The progress file in the user's data folder."""
    return platformdirs.user_data_path("tying-fault-diagnosis") / "progress.db"


class Progress:
    """An open progress file. Use it in a `with` statement."""

    def __init__(self, path: Path | None = None) -> None:
        """Open or create. Raises StoreError when it cannot be opened or is no progress file."""
        self.path = path or default_path()
        self.unread: dict[str, str] = {}
        """Rows that do not validate: which they are, and what is wrong. They are kept as they
        are, and everything else works."""
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(self.path, timeout=10, isolation_level=None)
        except (OSError, sqlite3.Error) as error:
            raise StoreError(f"{self.path}: cannot be opened: {error}") from None
        try:
            with self._told():
                self._db.execute("PRAGMA synchronous = FULL")
                self._db.execute("PRAGMA secure_delete = ON")
                self._make()
        except StoreError:
            self._db.close()
            raise

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._db.close()

    def learners(self) -> list[str]:
        """Everybody who has practised or has a case open, by name."""
        with self._told():
            rows = self._db.execute(
                "SELECT learner FROM practice UNION SELECT learner FROM open_case ORDER BY 1"
            )
            return [name for (name,) in rows]

    def known(self, learner: str) -> str:
        """The learner's name as it is kept. Raises InputError for someone who never practised."""
        names = self.learners()
        if learner not in names:
            near = nearest(learner, names)
            listed = f"; kept here: {', '.join(names)}" if names and not near else ""
            raise InputError(f"nobody named '{learner}' has practised yet{near}{listed}")
        return learner

    def record(
        self, learner: str, practice: Practice, reviews: Iterable[Review] = (), *, close: bool
    ) -> None:
        """Keep one practice with its reviews, all or none. `close`: the open case is done."""
        with self._writing() as db:
            db.execute(
                "INSERT INTO practice (learner, data) VALUES (?, ?)", (learner, _text(practice))
            )
            for review in reviews:
                db.execute(
                    "INSERT INTO review (learner, item, log) VALUES (?, ?, ?)",
                    (learner, review.item, review.log.to_json()),
                )
                db.execute(
                    "INSERT OR REPLACE INTO card VALUES (?, ?, ?)",
                    (learner, review.item, review.card.to_json()),
                )
            if close:
                db.execute("DELETE FROM open_case WHERE learner = ?", (learner,))

    def keep_open(self, learner: str, code: str, moves: Iterable[Move], rules: str) -> None:
        """Keep a case that is being played, move by move, with the digest of its rules."""
        data = json.dumps([[move.kind, move.id] for move in moves])
        with self._writing() as db:
            row = (learner, code, data, rules)
            db.execute("INSERT OR REPLACE INTO open_case VALUES (?, ?, ?, ?)", row)

    def open_case(self, learner: str) -> tuple[str, list[Move], str] | None:
        """The case left open: its number, the moves made, the digest of the rules it began with."""
        with self._told():
            row = self._db.execute(
                "SELECT code, moves, rules FROM open_case WHERE learner = ?", (learner,)
            ).fetchone()
        moves = self._read(f"open case of {learner}", _moves, row[1]) if row else None
        return (row[0], moves, row[2]) if moves is not None else None

    def practices(self, learner: str) -> list[Practice]:
        """All that was practised, oldest first."""
        with self._told():
            rows = self._db.execute(
                "SELECT id, data FROM practice WHERE learner = ? ORDER BY id", (learner,)
            ).fetchall()
        read = (self._read(f"practice {n} of {learner}", _practice, data) for n, data in rows)
        return [practice for practice in read if practice is not None]

    def cards(self, learner: str) -> dict[str, Card]:
        """The schedule's cards by item."""
        with self._told():
            rows = self._db.execute(
                "SELECT item, card FROM card WHERE learner = ?", (learner,)
            ).fetchall()
        read = {i: self._read(f"card {i} of {learner}", Card.from_json, card) for i, card in rows}
        return {item: card for item, card in read.items() if card is not None}

    def reviews(self, learner: str) -> list[tuple[str, ReviewLog]]:
        """Every review, oldest first."""
        with self._told():
            rows = self._db.execute(
                "SELECT id, item, log FROM review WHERE learner = ? ORDER BY id", (learner,)
            ).fetchall()
        read = [
            (item, self._read(f"review {n} of {learner}", ReviewLog.from_json, log))
            for n, item, log in rows
        ]
        return [(item, log) for item, log in read if log is not None]

    def _read(self, row: str, read: Callable[[str], T], text: str) -> T | None:
        """One row as what it holds; None where it does not validate, which is noted."""
        try:
            return read(text)
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
            self.unread[row] = f"{row}: {error}"
            return None

    def others_on(self, code: str, rules: str, learner: str) -> list[tuple[str, Practice]]:
        """What others made of the same case under the same rules."""
        return [
            (name, practice)
            for name in self.learners()
            if name != learner
            for practice in self.practices(name)
            if practice.kind == "case" and (practice.code, practice.rules) == (code, rules)
        ]

    def export(self, learner: str) -> dict[str, Any]:
        """Everything kept of one learner, as plain data."""
        opened = self.open_case(self.known(learner))
        return {
            "format": FORMAT,
            "learner": learner,
            "practices": [json.loads(_text(practice)) for practice in self.practices(learner)],
            "reviews": [{"item": item, **log.to_dict()} for item, log in self.reviews(learner)],
            "cards": {item: card.to_dict() for item, card in self.cards(learner).items()},
            "open_case": {
                "code": opened[0],
                "moves": [[move.kind, move.id] for move in opened[1]],
                "rules": opened[2],
            }
            if opened
            else None,
        }

    def delete(self, learner: str) -> None:
        """Take one learner out for good; what was written is overwritten."""
        name = self.known(learner)
        with self._writing() as db:
            for table in _TABLES:
                db.execute(f"DELETE FROM {table} WHERE learner = ?", (name,))

    def _make(self) -> None:
        version = self._version()
        if version > FORMAT:
            raise StoreError(f"{self.path}: was written by a newer version of this program")
        tables = [name for (name,) in self._db.execute("SELECT name FROM sqlite_master")]
        if version == 0 and tables and "practice" not in tables:
            raise StoreError(f"{self.path}: is another program's database, not a progress file")
        if version == 0:
            with self._writing() as db:
                if self._version() == 0:  # else somebody else made it while we waited
                    for statement in _SCHEMA.split(";"):
                        db.execute(statement)
                    db.execute(f"PRAGMA user_version = {FORMAT}")

    def _version(self) -> int:
        (version,) = self._db.execute("PRAGMA user_version").fetchone()
        return int(version)

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._told():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
            except BaseException:
                self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise StoreError(f"{self.path}: {error}; is it a progress file?") from None


def _text(practice: Practice) -> str:
    return json.dumps({**asdict(practice), "at": practice.at.isoformat()}, sort_keys=True)


def _moves(text: str) -> list[Move]:
    return [Move(*move) for move in json.loads(text)]


def _practice(text: str) -> Practice:
    return TypeAdapter(Practice).validate_json(text)
