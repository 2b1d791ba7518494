"""The default order from easy to hard, worked out from the tables, and what comes next.

A mechanism is plain when what hangs from the bale and one more sign at the bale are expected to
make it likely; the others are look-alikes. Plain ones come first, then the look-alikes mixed, so
that telling them apart is what is practised, and at last two faults in one machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
from fsrs import Card

from diagnose.inference.tables import Floats, Tables
from diagnose.train.play import shown_sign
from diagnose.train.schedule import ItemKind, due, item, sits

PLAIN = "likely"
"""The standing (of the rule base) that a plain mechanism is expected to reach by one sign."""

LOOK_SIGNS = 2
"""So many signs are shown in a look beside what hangs from the bale."""

Stage = Literal["plain", "look-alikes", "two faults"]


@dataclass(frozen=True)
class Course:
    """Mechanisms and causes from easy to hard."""

    mechanisms: tuple[str, ...]
    causes: tuple[str, ...]
    """Of one mechanism after the other, in the mechanisms' order."""
    plain: frozenset[str]
    """The plain mechanisms."""
    telling: Mapping[str, str]
    """Mechanism -> the sign that is expected to tell it best beside what hangs from the bale."""
    look: tuple[str, ...]
    """Signs of the bale that tell most over all mechanisms; with what hangs, they make a look."""
    likeness: Mapping[str, tuple[str, ...]]
    """Mechanism -> the others, the one most easily taken for it first."""
    main: Mapping[str, str]
    """Cause -> the mechanism it mostly leads to."""


@dataclass(frozen=True)
class Next:
    """What to practise now, and why."""

    name: str
    stage: Stage
    reason: Literal["due", "new", "ahead"]


def bale_signs(tables: Tables) -> list[str]:
    """Signs of the failed tie itself that cost no way: what a look at the bale shows."""
    base, shown = tables.base, shown_sign(tables.base)
    return [
        name
        for name, sign in base.signs.items()
        if sign.scope == "tie" and sign.setup == base.start_setup and name != shown
    ]


def make_course(tables: Tables) -> Course:
    """The course of a rule base."""
    matrices = {sign: _recognised(tables, sign) for sign in bale_signs(tables)}
    own = {sign: matrix.diagonal() for sign, matrix in matrices.items()}
    telling = [max(own, key=lambda sign: own[sign][m]) for m in range(len(tables.mechanisms))]
    told = np.array([own[sign][m] for m, sign in enumerate(telling)])
    order = np.argsort(-told, kind="stable")
    least = tables.base.standings[PLAIN][0]
    mechanisms = tuple(tables.mechanisms[m] for m in order)
    main = _main_mechanisms(tables)
    prior = dict(zip(tables.causes, tables.prior, strict=True))
    return Course(
        mechanisms=mechanisms,
        causes=tuple(
            sorted(main, key=lambda c: (mechanisms.index(main[c]), -prior[c]))
        ),
        plain=frozenset(tables.mechanisms[m] for m in order if told[m] >= least),
        telling=dict(zip(tables.mechanisms, telling, strict=True)),
        look=tuple(sorted(own, key=lambda sign: -own[sign].sum())[:LOOK_SIGNS]),
        likeness={
            name: _others(tables, matrices[telling[m]][m], m)
            for m, name in enumerate(tables.mechanisms)
        },
        main=main,
    )  # fmt: skip


def _main_mechanisms(tables: Tables) -> dict[str, str]:
    main = {}
    for c, cause in enumerate(tables.causes):
        branches = np.flatnonzero(tables.branch_cause == c)
        best = branches[tables.branch_share[branches].argmax()]
        main[cause] = tables.mechanisms[tables.branch_mechanism[best]]
    del main[tables.base.roles.something_else]
    return main


def _recognised(tables: Tables, sign: str) -> Floats:
    """E[P(mechanism j | what hangs, this sign) | mechanism i] in row i, column j (n x n).

    The expected posterior: how far the two signs tell each mechanism, and what for it is taken.
    """
    shown = tables.likelihood[shown_sign(tables.base)]
    joint = shown[:, :, None] * tables.likelihood[sign][:, None, :]
    weights = (tables.prior[tables.branch_cause] * tables.branch_share)[:, None, None] * joint
    n = len(tables.mechanisms)
    by_mechanism = np.zeros((n, weights.shape[1] * weights.shape[2]))
    np.add.at(by_mechanism, tables.branch_mechanism, weights.reshape(len(weights), -1))
    posterior = by_mechanism / by_mechanism.sum(axis=0)
    given = by_mechanism / by_mechanism.sum(axis=1, keepdims=True)
    matrix: Floats = given @ posterior.T
    return matrix


def _others(tables: Tables, row: Floats, m: int) -> tuple[str, ...]:
    return tuple(tables.mechanisms[j] for j in np.argsort(-row, kind="stable") if j != m)


def stage_of(course: Course, kind: ItemKind, cards: Mapping[str, Card]) -> Stage:
    """How far a learner has come with the mechanisms or the causes."""
    plain, rest = _halves(course, kind)
    if not sits(cards, (item(kind, name) for name in plain)):
        return "plain"
    if kind == "cause" and sits(cards, (item(kind, name) for name in rest)):
        return "two faults"
    return "look-alikes"


def _halves(course: Course, kind: ItemKind) -> tuple[list[str], list[str]]:
    names = list(course.mechanisms if kind == "mechanism" else course.causes)
    easy = [n for n in names if course.main.get(n, n) in course.plain]
    return easy, [n for n in names if n not in easy]


def next_item(
    course: Course,
    kind: ItemKind,
    cards: Mapping[str, Card],
    now: datetime,
    last: str | None = None,
) -> Next:
    """The mechanism or cause to practise now: what is due, else what is new, else what is soonest.

    Once the plain ones sit, what is most easily taken for `last` (the mechanism before) is mixed in
    first among equals.
    """
    stage = stage_of(course, kind, cards)
    plain, rest = _halves(course, kind)
    names = plain if stage == "plain" else [*plain, *rest]
    known = {item(kind, name): name for name in [*plain, *rest]}
    waiting = [known[name] for name in due(cards, now) if name in known]
    if waiting:
        return Next(_mixed(course, stage, waiting, last), stage, "due")
    new = [name for name in names if item(kind, name) not in cards]
    if new:
        return Next(_mixed(course, stage, new, last), stage, "new")
    met = [name for name in names if item(kind, name) in cards]
    return Next(min(met, key=lambda name: cards[item(kind, name)].due), stage, "ahead")


def _mixed(course: Course, stage: Stage, names: list[str], last: str | None) -> str:
    """The first, or where look-alikes are mixed, the one most like the one before."""
    if stage == "plain" or last is None:
        return names[0]
    near = course.likeness[last]
    mechanism = {name: course.main.get(name, name) for name in names}
    others = [name for name in names if mechanism[name] != last] or names
    return min(others, key=lambda n: near.index(mechanism[n]) if mechanism[n] in near else -1)
