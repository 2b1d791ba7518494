"""A case being played: the protocol of every case, a hidden fault that answers, and the drill's
own moves. Pure; nothing is judged here."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from diagnose.case import Case, Checked, Event, MadeSafe, Mended, Proved, Seen
from diagnose.case.state import State, state_of
from diagnose.inference.tables import Evidence, Tables
from diagnose.knowledge.acts import place_of
from diagnose.knowledge.model import Knowledge
from diagnose.train.deal import Deal, answer_of, reading_of, result_of
from diagnose.train.safety import missing, precautions

HINT_MINUTES = 5.0
"""Price of a hint. Judgement."""
CHANGE_MINUTES = 30.0
"""Price of changing a part on suspicion: getting it, fitting it, test bales. Judgement."""

MoveKind = Literal["safe", "ask", "check", "name", "hint", "call"]
End = Literal["found", "unsafe", "called"]


@dataclass(frozen=True)
class Move:
    """One thing a learner does. `id` is a precaution, sign, check or cause; empty for the rest."""

    kind: MoveKind
    id: str = ""


@dataclass(frozen=True)
class Position:
    """All that a learner knows and has done."""

    base: Knowledge
    events: tuple[Event, ...] = ()
    """As any case holds them, of the fault that is acting; faults set right before it too."""
    stage: int = 0
    """Which of the case's faults is acting, from 0."""
    minutes: float = 0.0
    end: End | None = None
    forgot: str | None = None
    """The precaution whose lack ended the case."""

    @cached_property
    def state(self) -> State:
        """What the protocol makes of the events."""
        return state_of(self.base, Case(id="drill").model_copy(update={"events": self.events}))

    def told(self, *events: Event) -> Position:
        """With more events."""
        return replace(self, events=(*self.events, *events))

    @property
    def setup(self) -> str:
        return self.state.place

    @property
    def taken(self) -> frozenset[str]:
        """Words of the precautions that still hold."""
        words = precautions(self.base).items()
        return frozenset(word for word, what in words if what.caution in self.state.secured)

    @property
    def answers(self) -> tuple[tuple[str, str], ...]:
        return tuple((sign, answers[0]) for sign, answers in self.state.answers(None).items())

    @property
    def results(self) -> tuple[tuple[str, str | None], ...]:
        return tuple((result.check, result.found) for result in self.state.results)

    @property
    def mended(self) -> frozenset[str]:
        return frozenset(repair.cause for repair in self.state.repairs)

    @property
    def found(self) -> str | None:
        """The cause that a check has found and nobody has named yet."""
        finds = [result.found for result in self.state.results if result.found]
        return finds[-1] if finds else None

    @property
    def evidence(self) -> Evidence:
        """As the tables count it. Cases come from the tables themselves, so that nothing needs

        to be derived from the answers first.
        """
        return Evidence(
            answers={sign: (answer,) for sign, answer in self.answers},
            results=self.results,
            mended=self.mended,
        )

    @property
    def looked(self) -> frozenset[str]:
        """Questions answered and checks done."""
        return frozenset({name for name, _ in self.answers} | {name for name, _ in self.results})


@dataclass(frozen=True)
class Outcome:
    """What a move brought to light."""

    minutes: float = 0.0
    way: float = 0.0
    """The part of the minutes that went into getting there."""
    answer: str | None = None
    found: str | None = None
    reading: tuple[str, float] | None = None
    right: bool | None = None
    """Of naming a cause."""
    measured: bool = False
    """Of naming a cause: a check had found it."""


def shown_sign(base: Knowledge) -> str:
    """The sign that everybody sees first: what hangs from the bale."""
    return base.roles.failed_tie


def start(tables: Tables, case: Deal) -> Position:
    """Before the first move: the bale is seen, nothing else."""
    return _seen_afresh(tables, case, Position(tables.base))


def _seen_afresh(tables: Tables, case: Deal, position: Position) -> Position:
    """A new failed tie hangs from the bale, for everybody to see."""
    shown = shown_sign(tables.base)
    answer = answer_of(tables, case, position.stage, shown)
    return position.told(Seen(sign=shown, answers=(answer,)))


def play(tables: Tables, case: Deal, here: Position, move: Move) -> tuple[Position, Outcome]:
    """The position after a move, and what it brought. Ids must be known; the case not over."""
    if here.end:
        raise ValueError("the case is over")
    if move.kind in ("safe", "ask", "check", "name"):
        forgot = missing(here.state, tables.base, move.kind, move.id)
        if forgot:
            return replace(here, end="unsafe", forgot=forgot), Outcome()
    match move.kind:
        case "safe":
            caution = precautions(tables.base)[move.id].caution
            return here.told(MadeSafe(precautions=(caution,))), Outcome()
        case "ask" | "check":
            return _look(tables, case, here, move)
        case "name":
            return _name(tables, case, here, move)
        case "hint":
            return _spend(here, HINT_MINUTES), Outcome(HINT_MINUTES)
    call = tables.base.base.call_minutes
    return replace(_spend(here, call), end="called"), Outcome(call)


def way_to(tables: Tables, here: str, there: str) -> float:
    """Minutes from one setup to another."""
    return float(tables.moves[tables.setups.index(here), tables.setups.index(there)])


def _look(tables: Tables, case: Deal, here: Position, move: Move) -> tuple[Position, Outcome]:
    way = way_to(tables, here.setup, place_of(tables.base, here.setup, move.id))
    minutes = way + tables.minutes[move.id]
    there = _spend(here, minutes)
    if move.kind == "ask":
        answer = answer_of(tables, case, here.stage, move.id)
        return there.told(Seen(sign=move.id, answers=(answer,))), Outcome(
            minutes, way, answer=answer
        )
    look = sum(check == move.id for check, _ in here.results)
    found = result_of(tables, case, here.stage, move.id, look)
    reading = reading_of(tables, case, here.stage, move.id, look)
    return there.told(Checked(check=move.id, found=found)), Outcome(
        minutes, way, found=found, reading=reading
    )


def _name(tables: Tables, case: Deal, here: Position, move: Move) -> tuple[Position, Outcome]:
    """Naming a cause sets it right. What no check has found is a part changed on suspicion.

    What was learnt while an earlier fault acted says little of the next one and is dropped.
    """
    right = move.id == case.faults[here.stage].cause
    measured = here.found == move.id
    minutes = 0.0 if measured else CHANGE_MINUTES
    outcome = Outcome(minutes, right=right, measured=measured)
    after = _spend(here, minutes).told(Mended(cause=move.id))
    if right and here.stage + 1 == len(case.faults):
        return replace(after, end="found"), outcome
    failed = after.told(Proved(cause=move.id, clean_ties=0, failed=True))
    if right:
        kept = (e for e in failed.events if isinstance(e, Mended | Proved))
        failed = replace(failed, events=tuple(kept), stage=here.stage + 1)
    return _seen_afresh(tables, case, failed), outcome


def _spend(here: Position, minutes: float) -> Position:
    return replace(here, minutes=here.minutes + minutes)


@dataclass(frozen=True)
class Played:
    """A case, the moves made in it, and where they led."""

    case: Deal
    here: Position
    moves: tuple[Move, ...] = ()
    outcomes: tuple[Outcome, ...] = ()

    @classmethod
    def begun(cls, tables: Tables, case: Deal) -> Played:
        return cls(case, start(tables, case))

    def then(self, tables: Tables, *moves: Move) -> Played:
        """One or more moves later."""
        played = self
        for move in moves:
            here, outcome = play(tables, self.case, played.here, move)
            played = Played(self.case, here, (*played.moves, move), (*played.outcomes, outcome))
        return played


def from_moves(tables: Tables, case: Deal, moves: Iterable[Move]) -> Played:
    """A case with all these moves made."""
    return Played.begun(tables, case).then(tables, *moves)
