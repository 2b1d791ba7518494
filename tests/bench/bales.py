"""Bad bales drawn from the rule base, and the minutes that several ways take to the fault."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from diagnose.case import Case, Checked, MadeSafe, Seen
from diagnose.session import Diagnosis, Reasoner, diagnose

ROW = "hangs"
"""The sign that chooses the row of a printed chart."""


Result = tuple[float, bool]
"""Minutes until the fault is found or somebody is called, and whether it was found."""


@dataclass(frozen=True)
class Bale:
    """A bad bale and all that could be found out about it."""

    cause: int
    answers: dict[str, str]
    found_by: frozenset[str]
    """The checks that would find the cause; the others do not confirm it, or overlook it."""


def draw_bale(reasoner: Reasoner, seed: int) -> Bale:
    tables, rng = reasoner.tables, np.random.default_rng(seed)
    prior = tables.prior[tables.branch_cause] * tables.branch_share
    branch = rng.choice(len(prior), p=prior / prior.sum())
    cause = int(tables.branch_cause[branch])
    answers = {
        sign: str(rng.choice(tables.answers[sign], p=table[branch]))
        for sign, table in tables.likelihood.items()
    }
    finds = rng.random(len(tables.checks)) >= tables.overlooks[:, cause]
    return Bale(cause, answers, frozenset(np.array(tables.checks)[finds].tolist()))


def by_planner(reasoner: Reasoner) -> Callable[[Bale], Result]:
    """The question session: its opening questions, then whatever step it puts next."""
    base, known = reasoner.base, {}

    def reasoned(case: Case) -> Diagnosis:
        key = tuple(event.model_dump_json() for event in case.events)
        if key not in known:
            known[key] = diagnose(reasoner, case)
        return known[key]

    def search(bale: Bale) -> Result:
        case, total = Case(id="drawn", events=(MadeSafe(),)), 0.0
        while True:
            step = reasoned(case).step
            total += step.minutes + step.way
            if step.kind == "safe":
                case = case.with_event(MadeSafe())
            elif step.kind == "ask":
                case = case.with_event(Seen(sign=step.id, answers=(bale.answers[step.id],)))
            elif step.kind == "check" and step.id not in bale.found_by:
                case = case.with_event(Checked(check=step.id))
            else:
                found = step.kind != "call"
                return total + (0.0 if found else base.base.call_minutes), found

    return search


def by_chart(reasoner: Reasoner, by_commonness: bool) -> Callable[[Bale], Result]:
    """A printed chart: the row by what hangs from the bale, then its causes in a fixed order.

    In the row stand the causes that show the answer at least as often as all causes together,
    commonest first; after them all others in the order of the files. Each has one check, the
    first in the files; at the end somebody is called.
    """
    tables, problem = reasoner.tables, reasoner.problem
    table = tables.branch_share[:, None] * tables.likelihood[ROW]
    share = tables.sum_by_cause(table.T)  # answers by causes
    background = share @ tables.prior
    rows = {}
    for a, answer in enumerate(tables.answers[ROW]):
        row = [c for c in range(len(tables.causes)) if share[a, c] >= background[a]]
        if by_commonness:
            row.sort(key=lambda c: -tables.prior[c])
        rest = [c for c in range(len(tables.causes)) if c not in row]
        first_checks = (np.flatnonzero(problem.overlooks[:, c] < 1)[:1] for c in (*row, *rest))
        rows[answer] = list(dict.fromkeys(int(k) for ks in first_checks for k in ks))

    def search(bale: Bale) -> Result:
        minutes, found = _in_order(reasoner, bale, rows[bale.answers[ROW]])
        return tables.minutes[ROW] + minutes, found

    return search


def by_chance_over_minutes(reasoner: Reasoner) -> Callable[[Bale], Result]:
    """No question: always the check with the best chance of finding to its own minutes."""
    problem, weights = reasoner.problem, reasoner.tables.prior.copy()
    order: list[int] = []
    for _ in problem.check_minutes:
        ratio = (1 - problem.overlooks) @ weights / problem.check_minutes
        ratio[order] = -1
        order.append(int(ratio.argmax()))
        weights = weights * problem.overlooks[order[-1]]
    return lambda bale: _in_order(reasoner, bale, order)


def _in_order(reasoner: Reasoner, bale: Bale, order: Iterable[int]) -> Result:
    """Minutes of checks in a fixed order until one finds the fault, else of calling too."""
    problem, names = reasoner.problem, reasoner.tables.checks
    total, here = 0.0, reasoner.tables.setups.index(reasoner.base.start_setup)
    for k in order:
        total += problem.moves[here, problem.check_setup[k]] + problem.check_minutes[k]
        here = problem.check_setup[k]
        if names[k] in bale.found_by:
            return float(total), True
    return float(total + problem.call), False
