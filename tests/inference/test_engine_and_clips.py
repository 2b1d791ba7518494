"""The engine against CLIPS, a rule engine by other hands: same rules, same conclusions."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.inference import compile_productions
from diagnose.inference.conclusions import Conclusions
from diagnose.inference.forward import Engine
from diagnose.knowledge import load_rules
from diagnose.knowledge.references import GRADES, fault_codes
from tests.inference.clips_engine import MULTI, SLOTS, Clips, Facts
from tests.strategies import Given, evidence, rule_bases

BASE = load_rules()
PRODUCTIONS = compile_productions(BASE)
ENGINE, CLIPS = Engine(PRODUCTIONS), Clips(PRODUCTIONS)
TOLD = {"given", "cleared", "found", "weight", "evidence"}


def check_same(concluded: Conclusions, facts: Facts, known: Given) -> None:
    for template, slots in SLOTS.items():
        if template in TOLD:
            continue
        ours = {
            tuple(
                tuple(sorted(value.split("|"))) if slot == MULTI else value
                for slot, value in zip(slots, values, strict=True)
            )
            for values in concluded.facts(template)
        }
        told = {(sign, tuple(sorted(a))) for sign, values in known.items() for a in values}
        theirs = {
            tuple(tuple(sorted(v)) if isinstance(v, tuple) else v for v in fact)
            for fact in facts[template]
        }
        assert ours == (theirs - told if template == "derived" else theirs), template
    settled = {sign: tuple(sorted(answers)) for sign, answers in concluded.evidence.items()}
    assert settled == {sign: tuple(sorted(a)) for sign, a in facts["evidence"]}
    ours_decibans = {w.rule: round(w.decibans, 9) for w in concluded.weights}
    assert ours_decibans == {rule: round(d, 9) for rule, d in facts["weight"]}


@st.composite
def everything(draw: st.DrawFn) -> Given:
    """Answers, logged codes and grades of readings."""
    known = draw(evidence(BASE))
    codes = draw(st.lists(st.sampled_from(fault_codes(BASE)), max_size=2, unique=True))
    graded = draw(st.lists(st.sampled_from(sorted(BASE.settings)), max_size=2, unique=True))
    for setting in graded:
        grades = st.lists(st.sampled_from(GRADES), min_size=1, max_size=2, unique=True)
        known[f"grade.{setting}"] = [tuple(draw(grades))]
    return known | ({"code": [(code,) for code in codes]} if codes else {})


@settings(max_examples=60, deadline=None)
@given(everything(), st.sets(st.sampled_from(sorted(BASE.causes)), max_size=2))
def test_on_the_shipped_base_clips_concludes_the_same(known: Given, causes: set[str]) -> None:
    cleared, found = sorted(causes)[:1], sorted(causes)[1:]
    concluded = ENGINE.conclude(known, cleared=cleared, found=found)
    check_same(concluded, CLIPS.conclude(known, cleared, found), known)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_on_small_random_bases_clips_concludes_the_same(data: st.DataObject) -> None:
    base = data.draw(rule_bases())
    productions = compile_productions(base)
    known = data.draw(evidence(base))
    cleared = data.draw(st.lists(st.sampled_from(sorted(base.causes)), max_size=1))
    concluded = Engine(productions).conclude(known, cleared=cleared)
    check_same(concluded, Clips(productions).conclude(known, cleared), known)
