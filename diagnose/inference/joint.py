"""Joint belief over the failed ties of one bale: one cause behind all, a cause each, or groups.

A group has one cause, and each of its ties a mechanism of its own. With groups g of a partition,

    P(groups, causes, evidence) ∝ ρ^groups Π_g P(c_g) R(c_g, |g|) / C(N, |g|) · Π_k P(told at k | c)

where R is how far a cause reaches among the N knotters (one, some, all), read off what the rules
say of which knotters fail, and ρ how often a second fault sits in the machine at the same time.
What was told of the bale, not of a knotter, has one voice: it is about one of the failing ties,
nobody knows which. Summed over subsets of ties instead of listed partitions; exact, and the same
however the knotters are numbered. With one failing tie it is `Tables.posterior`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from diagnose.inference.tables import Answers, Evidence, Floats, Posterior, Tables

Member = int
"""Place of a tie among the failing ones; a set of them is an int, bit by bit."""


@dataclass(frozen=True)
class Bale:
    """What is known of a bale with several failed ties. Ties by knotter, in the order told."""

    ties: Mapping[int, Evidence]
    """Of each knotter that failed: answers, results, mended and proof that are its own."""
    voice: Mapping[int, Answers] = field(default_factory=dict)
    """What was told of the bale, as it is concluded at each knotter: one of them it is about."""
    results: tuple[tuple[str, str | None], ...] = ()
    """Of the whole machine. Nothing found clears every group; a find is about one tie."""
    which: tuple[str, ...] | None = None
    """Which knotters fail, where somebody said so; else what the failing ties show."""
    knotters: int = 6
    """Of the machine."""


class Joint:
    """The chances of a bale's causes, tie by tie."""

    def __init__(self, tables: Tables, bale: Bale) -> None:
        self.tables = tables
        self._sum = _Sum(tables, bale)

    def of(self, knotter: int) -> Posterior:
        """The posterior at one failing tie. Raises KeyError for another knotter."""
        return self._of[knotter]

    @cached_property
    def _of(self) -> dict[int, Posterior]:
        return {
            knotter: Posterior(self.tables, branches)
            for knotter, branches in zip(self._sum.knotters, self._sum.branches(), strict=True)
        }

    @cached_property
    def one_cause(self) -> float:
        """Chance that one cause is behind all failing ties."""
        return self._sum.one_group / self._sum.total


class _Sum:
    """Sums over all ways to put n ties into groups; 2^n groups, each of C causes."""

    def __init__(self, tables: Tables, bale: Bale) -> None:
        self.tables = tables
        self.knotters = tuple(bale.ties)
        self.n, self.N = len(self.knotters), max(bale.knotters, *self.knotters)
        self.second = tables.base.words[tables.base.roles.second_fault]
        own = [_own(tables, bale.ties[k]) for k in self.knotters]
        voiced = [
            branches * _answered(tables, bale.voice.get(k, {})) * _found(tables, bale.results)
            for k, branches in zip(self.knotters, own, strict=True)
        ]
        self.own, self.voiced = np.array(own), np.array(voiced)
        self.group = tables.prior * _cleared(tables, bale.results)
        self.reaches = _reaches(tables, bale.which, self.n)
        self.whole = (1 << self.n) - 1

    def _causes(self, branches: Floats) -> Floats:
        return self.tables.sum_by_cause(branches)

    def _reach(self, variant: int, size: int) -> Floats:
        """(B,) share of bales in which so many knotters of the machine would fail."""
        if size == self.N:
            return self.reaches[variant].all
        wide = math.comb(self.N, size) * (self.N - 2 if size > 1 else 1)
        reach = self.reaches[variant].one if size == 1 else self.reaches[variant].some
        share: Floats = reach / max(wide, 1)
        return share

    def _members(self, group: int) -> list[Member]:
        return [k for k in range(self.n) if group >> k & 1]

    def _weights(self, variant: int, group: int) -> tuple[Floats, Floats]:
        """(C,) weight of a group without the voice, and with the voice in it, by cause."""
        members = self._members(group)
        reach = self._reach(variant, len(members))
        t = self._causes(self.own[members])
        rest = _all_but_one(t)
        read = self._causes(self.own[members] * reach)
        heard = self._causes(self.voiced[members] * reach)
        base = self.second * self.group
        return base * (read * rest).mean(axis=0), base * (heard * rest).sum(axis=0)

    @cached_property
    def _groups(self) -> list[dict[int, tuple[Floats, Floats]]]:
        """For each variant of how far causes reach: the weights of every group it allows."""
        every = range(1, self.whole + 1)
        return [
            {g: self._weights(v, g) for g in every if reaches.allows(g == self.whole)}
            for v, reaches in enumerate(self.reaches)
        ]

    def _sums(self, variant: int) -> tuple[list[float], list[float]]:
        """A(S), AV(S): all ways to group the ties of S, without and with the voice among them."""
        plain, voiced = [1.0] + [0.0] * self.whole, [0.0] * (self.whole + 1)
        for ties in range(1, self.whole + 1):
            for group in _with_smallest(ties):
                if group not in self._groups[variant]:
                    continue
                z, zv = (float(w.sum()) for w in self._groups[variant][group])
                left = ties ^ group
                plain[ties] += z * plain[left]
                voiced[ties] += zv * plain[left] + z * voiced[left]
        return plain, voiced

    @cached_property
    def total(self) -> float:
        return sum(r.sign * self._sums(v)[1][self.whole] for v, r in enumerate(self.reaches))

    @cached_property
    def one_group(self) -> float:
        whole = (groups.get(self.whole) for groups in self._groups)
        return sum(
            r.sign * float(w[1].sum()) for r, w in zip(self.reaches, whole, strict=True) if w
        )

    def branches(self) -> Floats:
        """(n, B) chances of the branches at each tie, each row adding up to one."""
        rows = np.zeros_like(self.own)
        for variant, reaches in enumerate(self.reaches):
            plain, voiced = self._sums(variant)
            for group in self._groups[variant]:
                left = self.whole ^ group
                rows += reaches.sign * self._spread(variant, group, plain[left], voiced[left])
        # A difference of two sums: what is nothing may come out a hair below it.
        rows = np.maximum(rows, 0.0)
        spread: Floats = rows / rows.sum(axis=1, keepdims=True)
        return spread

    def _spread(self, variant: int, group: int, plain: float, voiced: float) -> Floats:
        """A group's weight by the branches of its ties, the others being grouped in any way."""
        members = self._members(group)
        reach = self._reach(variant, len(members))
        t, size = self._causes(self.own[members]), len(members)
        read, heard = (self._causes(x[members] * reach) for x in (self.own, self.voiced))
        cause = self.tables.branch_cause
        base = (self.second * self.group)[cause]
        rows = np.zeros_like(self.own)
        for place, k in enumerate(members):
            others = [p for p in range(size) if p != place]
            rest = np.prod(t[others], axis=0)
            # The voice, or the reach, at this tie itself; else at one of the others.
            rows[k] += plain * (self.voiced[k] * reach * rest[cause])
            rows[k] += voiced * (self.own[k] * reach * rest[cause]) / size
            if others:
                without = _all_but_one(t[others])
                elsewhere = (heard[others] * without).sum(axis=0) * plain
                elsewhere += (read[others] * without).sum(axis=0) * voiced / size
                rows[k] += self.own[k] * elsewhere[cause]
        spread: Floats = rows * base
        return spread


@dataclass(frozen=True)
class _Reaches:
    """(B,) chances that a branch's cause fails one, some or all knotters; added or taken off."""

    one: Floats
    some: Floats
    all: Floats
    sign: int = 1
    one_group: bool | None = None
    """Only for one group behind all (True), only for several (False), or for both."""

    def allows(self, whole: bool) -> bool:
        return self.one_group is None or self.one_group == whole


def _reaches(tables: Tables, told: tuple[str, ...] | None, n: int) -> list[_Reaches]:
    """How far each branch reaches; where somebody told it, the share of bales so told.

    Several groups: the widest speaks, one below wandering below all; so the chance of what was
    told is that of "at most so wide", less that of "at most the next narrower".
    """
    which = tables.base.roles.which
    one, few, wandering, every = (
        tables.answer_likelihood(which.sign, (answer,))
        for answer in (which.one, which.few, which.wandering, which.all)
    )
    if told is None:
        few_said, wandering_said, every_said = (
            _as_said(tables, answer) for answer in (which.few, which.wandering, which.all)
        )
        return [_Reaches(one + wandering, few_said + wandering_said, every_said)]
    alone = tables.answer_likelihood(which.sign, told)
    reaches = [_Reaches(alone, alone, alone, one_group=True)]
    if n == 1:
        return reaches
    none = np.zeros_like(one)
    ladder = [none, one + few, one + few + wandering, one + few + wandering + every]
    rungs = {which.one: 1, which.few: 1, which.wandering: 2, which.all: 3}
    for rung in sorted({rungs[answer] for answer in told}):
        for step, sign in ((rung, 1), (rung - 1, -1)):
            at_most = ladder[step]
            reaches.append(_Reaches(at_most, at_most, at_most, sign, one_group=False))
    return reaches


def _as_said(tables: Tables, answer: str) -> Floats:
    """(B,) share of an answer to which knotters fail, so far as a rule names it.

    What is left over for answers that no rule names is nobody's word that a cause reaches so far.
    """
    base, which = tables.base, tables.base.roles.which.sign
    share = tables.answer_likelihood(which, (answer,))
    rules = [
        base.shows.get(f"{tables.causes[c]}/{which}")
        or base.shows.get(f"{tables.mechanisms[m]}/{which}")
        for c, m in zip(tables.branch_cause, tables.branch_mechanism, strict=True)
    ]
    unsaid = np.array([rule is not None and answer not in rule.answers for rule in rules])
    beyond = base.words[base.roles.beyond_said]
    said: Floats = np.where(unsaid, np.minimum(share, beyond), share)
    return said


def _own(tables: Tables, tie: Evidence) -> Floats:
    """(B,) P(mechanism | cause) and all that is this tie's own, by branch."""
    factor = np.ones(len(tables.causes))
    for check, found in tie.results:
        factor *= tables.result_likelihood(check, found)
    if tie.proof is not None:
        cured, luck = tie.proof
        factor *= np.where(np.array(tables.causes) == cured, 1.0, luck)
    for cause in tie.mended:
        factor[tables.causes.index(cause)] = 0.0
    own: Floats = tables.branch_share * _answered(tables, tie.answers) * factor[tables.branch_cause]
    return own


def _answered(tables: Tables, answers: Answers) -> Floats:
    product = np.ones(len(tables.branch_cause))
    for sign, given in answers.items():
        product = product * tables.answer_likelihood(sign, given)
    return product


def _found(tables: Tables, results: Sequence[tuple[str, str | None]]) -> Floats:
    """(B,) what finds of the whole machine say of the tie that they are about."""
    factor = np.ones(len(tables.causes))
    for check, found in results:
        if found is not None:
            factor *= tables.result_likelihood(check, found)
    by_branch: Floats = factor[tables.branch_cause]
    return by_branch


def _cleared(tables: Tables, results: Sequence[tuple[str, str | None]]) -> Floats:
    """(C,) what checks of the whole machine that found nothing say of each group."""
    factor = np.ones(len(tables.causes))
    for check, found in results:
        if found is None:
            factor *= tables.result_likelihood(check, None)
    return factor


def _all_but_one(rows: Floats) -> Floats:
    """(m, C) for each row the product of the others; no division, as a row may hold zeros."""
    before = np.ones_like(rows)
    after = np.ones_like(rows)
    for i in range(1, len(rows)):
        before[i] = before[i - 1] * rows[i - 1]
        after[-1 - i] = after[-i] * rows[-i]
    product: Floats = before * after
    return product


def _with_smallest(ties: int) -> Iterator[int]:
    """Every subset of a set of ties that holds its smallest member."""
    smallest = ties & -ties
    rest = part = ties ^ smallest
    while True:
        yield part | smallest
        if not part:
            return
        part = (part - 1) & rest
