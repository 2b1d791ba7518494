"""A case at a terminal: typed lines in, moves made, each move judged. State is the moves alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from diagnose.errors import InputError, nearest
from diagnose.machine.units import shown
from diagnose.say.text import wrapped
from diagnose.train import wording
from diagnose.train.deal import Deal
from diagnose.train.judge import Judge
from diagnose.train.play import Move, MoveKind, Played
from diagnose.train.safety import precautions, reminders
from diagnose.train.story import story_lines
from diagnose.views.caution import caution_lines
from diagnose.views.setting import tolerance_lines

LISTS: dict[str, MoveKind] = {"ask": "ask", "check": "check", "name": "name"}


SEVERAL = 5
"""So many of what a word may mean are listed."""


class Console(Protocol):
    """Where lines are shown and typed. `ask` raises EOFError when nobody is there any more."""

    def say(self, lines: list[str]) -> None: ...

    def ask(self, prompt: str) -> str: ...


def pick(options: dict[str, str], text: str) -> str:
    """One of the options, by number, id, or words that stand in its text in any order."""
    names = list(options)
    if text.isdigit():
        if 1 <= int(text) <= len(names):
            return names[int(text) - 1]
        raise InputError(f"there is no {text}; the numbers go to {len(names)}")
    wanted = text.lower()
    if wanted in options:
        return wanted
    words = wanted.replace("_", " ").split()
    found = [
        name
        for name in names
        if all(word in f"{options[name]} {name.replace('_', ' ')}".lower() for word in words)
    ]
    first = [n for n in found if options[n].lower().startswith(wanted) or n.startswith(wanted)]
    named = [n for n in found if all(word in n for word in words)]
    for matches in (found, first, named):
        if len(matches) == 1:
            return matches[0]
    if found:
        listed = "; ".join(
            f"{names.index(name) + 1} {options[name].rstrip('.')}" for name in found[:SEVERAL]
        )
        more = "; and more" if len(found) > SEVERAL else ""
        raise InputError(f"'{text}' may be {listed}{more}. Type the number or more words.")
    raise InputError(f"nothing here is called '{text}'{nearest(wanted, names)}")


class CaseDialogue:
    """One case from the bale to the story."""

    def __init__(
        self,
        judge: Judge,
        case: Deal,
        console: Console,
        save: Callable[[Played], None],
        moves: Sequence[Move] = (),
        *,
        inches: bool = False,
    ) -> None:
        self.judge, self.tables, self.console, self.save = judge, judge.tables, console, save
        self.base, self.inches = judge.tables.base, inches
        self.played = Played.begun(self.tables, case).then(self.tables, *moves)
        self._late = 0.0

    def run(self) -> Played:
        """Play until the case is over or the learner leaves; then `here.end` is None."""
        self.console.say(wording.opening_lines(self.base, self.played.case, self.played.here))
        if self.played.moves:
            self.console.say(["", "Going on where you left:", *self._notes()])
        while not self.played.here.end:
            try:
                typed = self.console.ask("\n> ").strip()
            except EOFError:
                return self.played
            if typed.lower() in ("leave", "quit", "exit"):
                return self.played
            try:
                self.take(typed)
            except InputError as error:
                self.console.say(wrapped(f"{error}"))
        return self.played

    def take(self, typed: str) -> None:
        """Do what one typed line says. Raises InputError for what is not understood."""
        command, _, rest = typed.partition(" ")
        command, rest = command.lower(), rest.strip()
        if not command:
            return
        if command in LISTS:
            self._look(LISTS[command], rest)
        elif command in precautions(self.base):
            self._make_safe(typed.lower().split())
        elif command in ("h", "help", "?"):
            self.console.say(wording.help_lines(self.base))
        elif command == "notes":
            self.console.say(self._notes())
        elif command == "band":
            self.console.say(self._band())
        elif command == "hint":
            best = self.judge.best(self.played.here)
            self._make(Move("hint"))
            self.console.say(wrapped(f"Best now: {wording.move_text(self.base, best)}"))
        elif command == "call":
            self._make(Move("call"))
        else:
            known = [*LISTS, *precautions(self.base), "hint", "notes", "band", "call", "leave"]
            raise InputError(f"'{command}' is no key here{nearest(command, known)}; h shows them")

    def _look(self, kind: MoveKind, text: str) -> None:
        if not text:
            if kind == "name":
                self.console.say(wording.cause_list(self.base))
            else:
                self.console.say(wording.look_list(self.tables, self.played.here, kind))
            return
        options = {
            "ask": wording.sign_labels,
            "check": wording.check_labels,
            "name": wording.cause_labels,
        }[kind](self.base)
        chosen = pick(options, text)
        if kind == "name" and chosen in self.played.here.mended:
            raise InputError(f"'{options[chosen]}' was set right already")
        self._make(Move(kind, chosen))

    def _make_safe(self, words: list[str]) -> None:
        known = precautions(self.base)
        unknown = [word for word in words if word not in known]
        if unknown:
            raise InputError(f"'{unknown[0]}' makes nothing safe; type {' '.join(known)}")
        for word in words:
            if not self.played.here.end:
                self._make(Move("safe", word))
        if not self.played.here.end:
            self.console.say(wrapped(f"Done: {'; '.join(known[word].said for word in words)}."))

    def _make(self, move: Move) -> None:
        before, told = self.played.here, self._told()
        self.played = self.played.then(self.tables, move)
        after, outcome = self.played.here, self.played.outcomes[-1]
        self.save(self.played)
        if after.end == "unsafe":
            self.console.say(wording.unsafe_lines(self.base, after.forgot or ""))
            return
        named = reminders(self.base, move.kind, move.id)
        self.console.say(caution_lines(self.base, named, told))
        self.console.say(wording.outcome_lines(self.base, move, outcome, after, self.inches))
        if move.kind != "safe":
            judgement = self.judge.judge(before, move, outcome, after, self._late)
            self.console.say(wording.judgement_lines(self.tables, judgement, after.minutes))
            late = before.found and move.kind != "name"
            self._late = self._late + outcome.minutes if late else 0.0
        if after.stage > before.stage:
            story = story_lines(self.tables, self.played.case, before.stage, self.inches)
            self.console.say(["", *story])

    def _told(self) -> set[str]:
        """Cautions said in full before."""
        moves = self.played.moves
        return {name for move in moves for name in reminders(self.base, move.kind, move.id)}

    def _notes(self) -> list[str]:
        return wording.notes_lines(self.tables, self.played.here)

    def _band(self) -> list[str]:
        readings = [outcome.reading for outcome in self.played.outcomes if outcome.reading]
        if not readings:
            raise InputError("nothing has been measured yet")
        name, value = readings[-1]
        setting = self.base.settings[name]
        read = shown(value, setting.unit, inches=self.inches)
        return [*tolerance_lines(setting, self.inches), f"  You read {read}."]
