"""The regression test of a rule base: a casebook's solved cases, replayed and compared."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from diagnose.casebook.changes import Changes, compare, items_of
from diagnose.casebook.paths import Paths, paths
from diagnose.casebook.replay import Replay, Solved, replay
from diagnose.casebook.store import Casebook
from diagnose.errors import InputError
from diagnose.session.reasoner import Reasoner

Walk = Callable[[list[Solved]], Iterable[Solved]]
"""Goes through the cases one by one; a progress bar, for example."""


@dataclass(frozen=True)
class Regression:
    """Everything one run over a casebook found."""

    alone: Replay
    """With the rule base alone."""
    learnt: Replay | None
    """Each case with what the cases before it had taught."""
    minutes: Mapping[str, Paths]
    changes: Changes | None
    """Against the last run with other rules, where there was one."""


def regress(
    reasoner: Reasoner, book: Casebook, *, learning: bool = False, walk: Walk | None = None
) -> Regression:
    """Replay all solved cases, compare with the last run with other rules, and keep this one.

    Minutes are worked out when there is a `walk`. Raises InputError when nothing is solved yet.
    """
    base = reasoner.base
    solved = [Solved(case, cause) for case, cause in book.confirmed()]
    if not solved:
        raise InputError("this casebook holds no solved case yet; nothing to replay")
    alone = replay(reasoner, solved)
    learnt = replay(reasoner, solved, learning=True) if learning else None
    judged = [Solved(one.case, one.cause) for one in alone.judged]
    minutes = {one.case.id: paths(reasoner, one) for one in walk(judged)} if walk else {}
    last = book.last_replay(other_than=base.digest)
    changes = compare(base, alone, *last) if last else None
    book.save_replay(
        base.digest, items_of(base), {one.case.id: (one.chance, one.rank) for one in alone.judged}
    )
    return Regression(alone, learnt, minutes, changes)
