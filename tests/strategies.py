"""Hypothesis strategies: evidence on a rule base, and small rule bases of their own."""

from __future__ import annotations

from hypothesis import strategies as st

from diagnose.knowledge import Knowledge
from diagnose.knowledge.references import SUM_SLACK
from tests.small_base import SOMETHING_ELSE, scale, small_base

Given = dict[str, list[tuple[str, ...]]]


@st.composite
def evidence(draw: st.DrawFn, base: Knowledge, most: int = 6) -> Given:
    """Answers to some signs, now and then "one of these two", as the engine is given them."""
    signs = draw(st.lists(st.sampled_from(sorted(base.signs)), max_size=most, unique=True))
    given: Given = {}
    for sign in signs:
        answers = st.sampled_from(list(base.signs[sign].answers))
        size = draw(st.sampled_from([1, 1, 1, 2]))
        chosen = draw(st.lists(answers, min_size=size, max_size=size, unique=True))
        given[sign] = [tuple(chosen)]
    return given


@st.composite
def shares(draw: st.DrawFn, answers: tuple[str, ...]) -> dict[str, str]:
    """Words for some answers that do not add up to more than every time."""
    named: dict[str, str] = {}
    for answer in draw(st.lists(st.sampled_from(answers), max_size=3, unique=True)):
        total = sum(scale()[word] for word in named.values())
        fitting = [word for word, share in scale().items() if total + share <= SUM_SLACK]
        if fitting:
            named[answer] = draw(st.sampled_from(fitting))
    return named


@st.composite
def rule_bases(draw: st.DrawFn) -> Knowledge:
    """A small base: causes, mechanisms, signs, rules of both kinds, checks in two setups."""
    words = st.sampled_from(list(scale()))
    mechanisms = [f"m{i}" for i in range(draw(st.integers(1, 4)))]
    causes = {}
    for name in [f"c{i}" for i in range(draw(st.integers(1, 4)))] + [SOMETHING_ELSE]:
        leads = draw(st.lists(st.sampled_from(mechanisms), min_size=1, max_size=3, unique=True))
        causes[name] = (draw(words), {m: draw(words) for m in leads})
    signs = {}
    for i in range(draw(st.integers(1, 4))):
        answers = tuple(f"s{i}a{j}" for j in range(draw(st.integers(2, 4))))
        signs[f"s{i}"] = (answers, draw(shares(answers)))
    rules = {}
    targets = st.sampled_from([*mechanisms, *causes])
    for sign, (answers, _) in signs.items():
        for target in draw(st.lists(targets, max_size=4, unique=True)):
            words_of = draw(shares(answers))
            if words_of:
                rules[f"{target}/{sign}"] = words_of
    checks = {
        f"look_{c}": (draw(st.sampled_from(["round", "deck"])), 3.0, {c: draw(words)})
        for c in causes
        if c != SOMETHING_ELSE
    }
    return small_base(
        causes=causes, signs=signs, shows=rules, checks=checks, moves={("round", "deck"): 2.0}
    )
