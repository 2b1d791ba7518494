"""The two readers of one list of rules, engine and tables, say the same."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.inference import compile_productions
from diagnose.inference.conclusions import Conclusions
from diagnose.inference.forward import Engine
from diagnose.inference.productions import OUT_WORDS
from diagnose.inference.tables import Evidence, Tables
from diagnose.knowledge import Knowledge, load_rules
from tests.strategies import evidence, rule_bases

BASE = load_rules()
ENGINE = Engine(compile_productions(BASE))
TABLES = Tables(BASE)


def speaking_rule(base: Knowledge, cause: str, mechanism: str, sign: str) -> str | None:
    """The rule that counts for a branch: the cause's own before its mechanism's."""
    names = (f"{cause}/{sign}", f"{mechanism}/{sign}")
    return next((name for name in names if name in base.shows), None)


def branches(tables: Tables) -> list[tuple[str, str]]:
    return [
        (tables.causes[c], tables.mechanisms[m])
        for c, m in zip(tables.branch_cause, tables.branch_mechanism, strict=True)
    ]


def check_support(base: Knowledge, tables: Tables, concluded: Conclusions) -> None:
    """Log prior plus the decibans of the rules that speak is the tables' log posterior."""
    decibans = {w.rule: w.decibans for w in concluded.weights}
    support = []
    for cause, mechanism in branches(tables):
        rules = (speaking_rule(base, cause, mechanism, sign) for sign in concluded.evidence)
        support.append(sum(decibans[rule] for rule in rules if rule))
    prior = np.log(tables.prior[tables.branch_cause] * tables.branch_share)
    by_engine = prior + np.array(support) * np.log(10) / 10
    posterior = tables.posterior(Evidence(answers=concluded.evidence)).branches
    assert np.ptp(by_engine - np.log(posterior)) == pytest.approx(0, abs=1e-9)


def check_exclusion(base: Knowledge, tables: Tables, concluded: Conclusions) -> None:
    """A cause is excluded when every branch of it has an answer its rule calls (almost) never."""

    def out(cause: str, mechanism: str) -> bool:
        for sign, answers in concluded.evidence.items():
            rule = speaking_rule(base, cause, mechanism, sign)
            if rule and all(base.shows[rule].answers.get(a) in OUT_WORDS for a in answers):
                return True
        return False

    standing = {cause for cause, mechanism in branches(tables) if not out(cause, mechanism)}
    assert set(concluded.names("excluded")) == set(base.causes) - standing


@settings(max_examples=60, deadline=None)
@given(given=evidence(BASE))
def test_on_the_shipped_base_engine_and_tables_agree(given: dict) -> None:
    concluded = ENGINE.conclude(given)
    check_support(BASE, TABLES, concluded)
    check_exclusion(BASE, TABLES, concluded)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_on_small_random_bases_engine_and_tables_agree(data: st.DataObject) -> None:
    base = data.draw(rule_bases())
    engine, tables = Engine(compile_productions(base)), Tables(base)
    for _ in range(3):
        concluded = engine.conclude(data.draw(evidence(base)))
        check_support(base, tables, concluded)
        check_exclusion(base, tables, concluded)


@settings(max_examples=60, deadline=None)
@given(given=evidence(BASE))
def test_what_the_engine_calls_suspect_has_a_rule_that_speaks_for_it(given: dict) -> None:
    concluded = ENGINE.conclude(given)
    supported = {w.target for w in concluded.weights if w.decibans > 0}
    expected = {cause for cause, body in BASE.causes.items() if supported & {cause, *body.leads}}
    assert set(concluded.names("suspect")) == expected
