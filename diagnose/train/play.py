"""A case being played: a position, and what each move makes of it. Pure; nothing is judged here."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from diagnose.belief import Evidence, Tables
from diagnose.knowledge.acts import place_after, place_of
from diagnose.knowledge.model import Knowledge
from diagnose.train.deal import Deal, answer_of, reading_of, result_of
from diagnose.train.safety import missing, still_taken

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

    setup: str
    taken: frozenset[str] = frozenset()
    """Precautions taken since the machine last ran."""
    stage: int = 0
    """Which of the case's faults is acting, from 0."""
    answers: tuple[tuple[str, str], ...] = ()
    results: tuple[tuple[str, str | None], ...] = ()
    mended: frozenset[str] = frozenset()
    found: str | None = None
    """The cause that a check has found and nobody has named yet."""
    minutes: float = 0.0
    end: End | None = None
    forgot: str | None = None
    """The precaution whose lack ended the case."""

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
    return _seen_afresh(tables, case, Position(setup=tables.base.start_setup))


def _seen_afresh(tables: Tables, case: Deal, position: Position) -> Position:
    """The machine ran: nothing is safe any more, and a new failed tie hangs from the bale.

    What was learnt while an earlier fault acted says little of this one and is dropped.
    """
    shown = shown_sign(tables.base)
    return replace(
        position,
        setup=tables.base.start_setup,
        taken=frozenset(),
        answers=((shown, answer_of(tables, case, position.stage, shown)),),
        results=(),
        found=None,
    )


def play(tables: Tables, case: Deal, here: Position, move: Move) -> tuple[Position, Outcome]:
    """The position after a move, and what it brought. Ids must be known; the case not over."""
    if here.end:
        raise ValueError("the case is over")
    if move.kind in ("safe", "ask", "check", "name"):
        forgot = missing(tables.base, move.kind, move.id, here.taken)
        if forgot:
            return replace(here, end="unsafe", forgot=forgot), Outcome()
    match move.kind:
        case "safe":
            return replace(here, taken=here.taken | {move.id}), Outcome()
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
    setup = place_of(tables.base, here.setup, move.id)
    way = way_to(tables, here.setup, setup)
    minutes = way + tables.minutes[move.id]
    there = replace(
        _spend(here, minutes),
        setup=place_after(tables.base, here.setup, move.id),
        taken=still_taken(tables.base, here.taken, move.id),
    )
    if move.kind == "ask":
        answer = answer_of(tables, case, here.stage, move.id)
        kept = tuple(pair for pair in here.answers if pair[0] != move.id)
        after = replace(there, answers=(*kept, (move.id, answer)))
        return after, Outcome(minutes, way, answer=answer)
    look = sum(check == move.id for check, _ in here.results)
    found = result_of(tables, case, here.stage, move.id, look)
    after = replace(there, results=(*here.results, (move.id, found)), found=found or here.found)
    reading = reading_of(tables, case, here.stage, move.id, look)
    return after, Outcome(minutes, way, found=found, reading=reading)


def _name(tables: Tables, case: Deal, here: Position, move: Move) -> tuple[Position, Outcome]:
    """Naming a cause mends it. What no check has found is a part changed on suspicion."""
    right = move.id == case.faults[here.stage].cause
    measured = here.found == move.id
    minutes = 0.0 if measured else CHANGE_MINUTES
    outcome = Outcome(minutes, right=right, measured=measured)
    after = replace(_spend(here, minutes), mended=here.mended | {move.id})
    if not right:
        ran = replace(after, taken=frozenset(), setup=tables.base.start_setup)
        return ran, outcome
    if here.stage + 1 == len(case.faults):
        return replace(after, end="found"), outcome
    return _seen_afresh(tables, case, replace(after, stage=here.stage + 1)), outcome


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
