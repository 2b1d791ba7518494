"""The joint belief over the failed ties of a bale, against what is summed one by one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.inference.joint import Bale, Joint
from diagnose.inference.tables import Evidence, Tables
from diagnose.knowledge import Knowledge, load_rules
from tests.small_base import ROLES, small_base

SHIPPED = Tables(load_rules())
WHICH = ROLES.which
WORDS = st.sampled_from(["usually", "about half", "sometimes", "seldom", "rarely"])
quick = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))


@st.composite
def bases(draw: st.DrawFn) -> Knowledge:
    """Three causes, two mechanisms, how far they reach, and two signs that they show."""
    causes = {
        name: (draw(WORDS), {m: draw(WORDS) for m in ("slips", "breaks")})
        for name in ("worn", "loose", "wet")
    }
    which = (WHICH.one, WHICH.few, WHICH.wandering, WHICH.all)
    signs: dict[str, tuple[tuple[str, ...], dict[str, str]]] = {
        WHICH.sign: (which, {}), "ends": (("cut", "torn", "frayed"), {}),
        "crop": (("hay", "straw"), {}),
    }  # fmt: skip
    shows = {
        f"{target}/{sign}": {draw(st.sampled_from(signs[sign][0])): draw(WORDS)}
        for target in ("slips", "breaks", *causes)
        for sign in signs
        if draw(st.booleans())
    }
    checks = {"look": ("bench", 2.0, {"worn": draw(WORDS), "loose": draw(WORDS)})}
    return small_base(causes=causes, signs=signs, shows=shows, checks=checks)


@st.composite
def bales(draw: st.DrawFn, base: Knowledge, most: int, least: int = 2) -> Bale:
    knotters = draw(st.lists(st.integers(1, 8), min_size=least, max_size=most, unique=True))
    ends = st.sampled_from([(answer,) for answer in base.signs["ends"].answers])
    results = st.sampled_from([(), (("look", None),), (("look", "worn"),), (("look", "loose"),)])
    ties = {
        k: Evidence(
            {"ends": draw(ends)} if draw(st.booleans()) else {},
            draw(results),
            frozenset(draw(st.sampled_from([(), ("wet",)]))),
        )
        for k in knotters
    }
    crop = {"crop": (draw(st.sampled_from(["hay", "straw"])),)} if draw(st.booleans()) else {}
    told = draw(st.sampled_from([None, None, *[(a,) for a in base.signs[WHICH.sign].answers]]))
    return Bale(ties, dict.fromkeys(knotters, crop), draw(results), told, 8)


def partitions(members: Sequence[int]) -> Iterator[list[list[int]]]:
    if not members:
        yield []
        return
    first, rest = members[0], members[1:]
    for smaller in partitions(rest):
        yield [[first], *smaller]
        for i, group in enumerate(smaller):
            yield [*smaller[:i], [first, *group], *smaller[i + 1 :]]


def one_by_one(tables: Tables, bale: Bale) -> tuple[np.ndarray, float]:
    """(n, C) chances and the chance of one cause: partition by partition, voice by voice, cause by
    cause, mechanism by mechanism."""
    knotters, rho = list(bale.ties), tables.base.words[ROLES.second_fault]
    n, big = len(knotters), max(bale.knotters, *bale.ties)
    total, single = 0.0, 0.0
    chances = np.zeros((n, len(tables.causes)))
    for groups in partitions(range(n)):
        for voice in range(n):
            weights = [_group(tables, bale, knotters, g, voice, big) for g in groups]
            for reach, sign in _told(tables, bale, len(groups)):
                rows = [w(reach) for w in weights]
                weight = sign * math.prod(rho * row.sum() for row in rows) / n
                total += weight
                single += weight if len(groups) == 1 else 0.0
                for group, row in zip(groups, rows, strict=True):
                    for k in group:
                        chances[k] += weight * row / row.sum() if row.sum() else 0.0
    return chances / total, single / total


def _told(tables: Tables, bale: Bale, groups: int):  # type: ignore[no-untyped-def]
    """How far a cause reaches, (size, B) -> (B,), and with which sign it counts."""
    share = {a: tables.answer_likelihood(WHICH.sign, (a,)) for a in tables.answers[WHICH.sign]}
    one, few, wander = share[WHICH.one], share[WHICH.few], share[WHICH.wandering]
    if bale.which is None:
        big = max(bale.knotters, *bale.ties)
        some = as_said(tables, WHICH.few) + as_said(tables, WHICH.wandering)
        far = as_said(tables, WHICH.all)
        return [(lambda s: far if s == big else one + wander if s == 1 else some, 1)]
    if groups == 1:
        alone = tables.answer_likelihood(WHICH.sign, bale.which)
        return [(lambda _: alone, 1)]
    static = one + few
    rungs = {
        WHICH.one: (static, 0 * one), WHICH.few: (static, 0 * one),
        WHICH.wandering: (static + wander, static), WHICH.all: (1 + 0 * one, static + wander),
    }  # fmt: skip
    upper, lower = rungs[bale.which[0]]
    return [(lambda _: upper, 1), (lambda _: lower, -1)]


def as_said(tables: Tables, answer: str) -> np.ndarray:
    """What a rule names counts as it says; what is left over for the rest, almost never."""
    base, row = tables.base, []
    for c, m in zip(tables.branch_cause, tables.branch_mechanism, strict=True):
        share = tables.answer_likelihood(WHICH.sign, (answer,))[len(row)]
        for target in (tables.causes[c], tables.mechanisms[m]):
            rule = base.shows.get(f"{target}/{WHICH.sign}")
            if rule:
                row.append(share if answer in rule.answers else min(share, 0.029))
                break
        else:
            row.append(share)
    return np.array(row)


def _group(tables: Tables, bale: Bale, knotters, group, voice, big):  # type: ignore[no-untyped-def]
    def own(k: int, b: int) -> float:
        tie, c = bale.ties[knotters[k]], tables.branch_cause[b]
        if tables.causes[c] in tie.mended:
            return 0.0
        chance = tables.branch_share[b]
        for sign, answers in tie.answers.items():
            chance *= tables.answer_likelihood(sign, answers)[b]
        for check, found in tie.results:
            chance *= tables.result_likelihood(check, found)[c]
        return chance

    def heard(k: int, b: int) -> float:
        chance = 1.0
        for sign, answers in bale.voice[knotters[k]].items():
            chance *= tables.answer_likelihood(sign, answers)[b]
        for check, found in bale.results:
            if found:
                chance *= tables.result_likelihood(check, found)[tables.branch_cause[b]]
        return chance

    def weights(reach) -> np.ndarray:  # type: ignore[no-untyped-def]
        size = len(group)
        sets = 1 if size == big else math.comb(big, size) * (big - 2 if size > 1 else 1)
        row = np.zeros(len(tables.causes))
        readers = [voice] if voice in group else group
        for c in range(len(tables.causes)):
            mine = np.flatnonzero(tables.branch_cause == c)
            for reader in readers:
                for branches in product(mine, repeat=size):
                    chance = tables.prior[c] / len(readers)
                    for k, b in zip(group, branches, strict=True):
                        chance *= own(k, b) * (heard(k, b) if k == voice else 1.0)
                        chance *= reach(size)[b] / sets if k == reader else 1.0
                    row[c] += chance
            for check, found in bale.results:
                if found is None:
                    row[c] *= tables.result_likelihood(check, None)[c]
        return row

    return weights


@quick
@given(st.data())
def test_two_to_four_ties_are_as_summed_one_by_one(data: st.DataObject) -> None:
    base = data.draw(bases())
    tables, bale = Tables(base), data.draw(bales(base, 4))
    joint, (chances, single) = Joint(tables, bale), one_by_one(tables, bale)
    assert joint.one_cause == pytest.approx(single, abs=1e-9)
    for k, knotter in enumerate(bale.ties):
        assert joint.of(knotter).causes == pytest.approx(chances[k], abs=1e-9)


@quick
@given(st.data())
def test_other_numbers_for_the_knotters_give_the_same_chances(data: st.DataObject) -> None:
    base = data.draw(bases())
    tables, bale = Tables(base), data.draw(bales(base, 8))
    other = {k: 9 - k for k in reversed(list(bale.ties))}
    mirrored = Bale(
        {other[k]: bale.ties[k] for k in other}, {other[k]: bale.voice[k] for k in other},
        bale.results, bale.which, bale.knotters,
    )  # fmt: skip
    ours, theirs = Joint(tables, bale), Joint(tables, mirrored)
    assert ours.one_cause == pytest.approx(theirs.one_cause, abs=1e-12)
    for k in bale.ties:
        assert ours.of(k).branches == pytest.approx(theirs.of(other[k]).branches, abs=1e-12)


@quick
@given(st.data())
def test_one_failing_tie_is_the_posterior_of_that_tie(data: st.DataObject) -> None:
    knotter = data.draw(st.integers(1, 6))
    signs = [s for s in SHIPPED.answers if s != WHICH.sign]
    told = data.draw(st.lists(st.sampled_from(signs), max_size=4, unique=True))
    answers = {s: (data.draw(st.sampled_from(SHIPPED.answers[s])),) for s in told}
    voiced = {s: a for s, a in answers.items() if SHIPPED.base.signs[s].scope == "bale"}
    own = {s: a for s, a in answers.items() if s not in voiced}
    check = data.draw(st.sampled_from(SHIPPED.checks))
    found = data.draw(st.sampled_from([None, *SHIPPED.base.checks[check].confirms]))
    results = ((check, found),)
    joint = Joint(SHIPPED, Bale({knotter: Evidence(own)}, {knotter: voiced}, results))
    shown = {WHICH.sign: (WHICH.one, WHICH.wandering)}
    alone = SHIPPED.posterior(Evidence(answers | shown, results))
    assert joint.of(knotter).branches == pytest.approx(alone.branches, abs=1e-12)
    assert joint.one_cause == pytest.approx(1.0, abs=1e-12)


def test_nothing_told_one_fault_behind_all_is_likelier_the_more_knotters_fail() -> None:
    chances = [
        Joint(SHIPPED, Bale({k: Evidence() for k in range(1, n + 1)})).one_cause
        for n in range(2, 7)
    ]
    assert chances == sorted(chances)
    assert chances[0] == pytest.approx(0.60, abs=0.05)
    assert chances[-1] > 0.98
