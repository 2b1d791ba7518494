"""How the planner plays a case: the yardstick of every learner."""

from __future__ import annotations

from diagnose.train.deal import Deal
from diagnose.train.judge import Judge
from diagnose.train.play import Move, Played
from diagnose.train.safety import needed

MOST_LOOKS = 300
"""After so many looks the planner calls someone too."""


def planner_plays(judge: Judge, case: Deal) -> Played:
    """The planner through a whole case."""
    played = Played.begun(judge.tables, case)
    for _ in range(MOST_LOOKS):
        if played.here.end:
            return played
        played = with_precautions(judge, played, judge.best(played.here))
    return played if played.here.end else played.then(judge.tables, Move("call"))


def with_precautions(judge: Judge, played: Played, move: Move) -> Played:
    """A move, with whatever has to be made safe before it."""
    by_hand = move.kind in ("ask", "check", "name")
    wanted = needed(judge.tables.base, move.kind, move.id) if by_hand else []
    taking = [Move("safe", word) for word in wanted if word not in played.here.taken]
    return played.then(judge.tables, *taking, move)
