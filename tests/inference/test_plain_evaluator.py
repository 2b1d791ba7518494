"""The engine against a plain evaluator: lists of random productions, chained until at rest.

Rules of equal salience together with negation were seen to leave stale activations in the
engine; a salience for each rule, and negation of given facts only, keep it right.
"""

from __future__ import annotations

from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.inference.forward import Engine
from diagnose.inference.productions import FactSpec, Pattern, Production, Slot

SIGNS = ("s1", "s2", "s3", "s4")
ANSWERS = ("a", "b", "c")
Facts = set[tuple[str, str]]
"""(sign, answers joined by `|`) of one template."""


def accepts(slot: Slot, value: str) -> bool:
    answers = value.split("|")
    if slot.negated:
        return all(answer not in slot.allowed for answer in answers)
    return all(answer in slot.allowed for answer in answers)


def matches(pattern: Pattern, facts: Facts) -> bool:
    return any(
        all(accepts(slot, {"sign": sign, "answer": answer}[slot.name]) for slot in pattern.slots)
        for sign, answer in facts
    )


def plainly(productions: list[Production], given: Facts) -> Facts:
    """What is derived: every production tried again and again until nothing new follows."""
    derived = set(given)
    while True:
        new = {
            (dict(fact.slots)["sign"], dict(fact.slots)["answer"])
            for rule in productions
            if all(matches(p, derived if p.template == "derived" else given) for p in rule.when)
            and not any(matches(p, given) for p in rule.unless)
            for fact in rule.then
        } - derived
        if not new:
            return derived - given
        derived |= new


def slots() -> st.SearchStrategy[tuple[Slot, ...]]:
    sign = st.sets(st.sampled_from(SIGNS), min_size=1, max_size=2).map(frozenset)
    answer = st.sets(st.sampled_from(ANSWERS), min_size=1, max_size=2).map(frozenset)
    return st.tuples(
        st.builds(Slot, st.just("sign"), sign),
        st.builds(Slot, st.just("answer"), answer, st.booleans()),
    )


def patterns(*templates: str, least: int = 0) -> st.SearchStrategy[tuple[Pattern, ...]]:
    one = st.builds(Pattern, st.sampled_from(templates), slots())
    return st.lists(one, min_size=least, max_size=2).map(tuple)


@st.composite
def production_lists(draw: st.DrawFn) -> list[Production]:
    facts = [
        FactSpec("derived", (("sign", sign), ("answer", answer)))
        for sign, answer in product(SIGNS, ANSWERS)
    ]
    many = draw(st.integers(1, 12))
    return [
        Production(
            id=f"r{i}",
            stage="meaning",
            salience=many - i,
            when=draw(patterns("derived", "given", least=1)),
            unless=draw(patterns("given")),
            then=(draw(st.sampled_from(facts)),),
        )
        for i in range(many)
    ]


@settings(max_examples=150, deadline=None)
@given(
    production_lists(),
    st.dictionaries(
        st.sampled_from(SIGNS), st.sets(st.sampled_from(ANSWERS), min_size=1, max_size=2)
    ),
)
def test_random_productions_chain_as_a_plain_evaluator_says(
    productions: list[Production], known: dict[str, set[str]]
) -> None:
    told = {sign: [tuple(sorted(answers))] for sign, answers in known.items()}
    derived = Engine(productions).conclude(told).facts("derived")
    given_facts = {(sign, "|".join(answers[0])) for sign, answers in told.items()}
    assert {(sign, answer) for sign, answer in derived} - given_facts == plainly(
        productions, given_facts
    )
