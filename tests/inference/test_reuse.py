"""One engine serves every case, and importing it leaves the process as it was."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.inference import compile_productions, forward
from diagnose.inference.forward import Engine
from diagnose.knowledge import load_rules
from tests.strategies import evidence, rule_bases

BASE = load_rules()
PRODUCTIONS = compile_productions(BASE)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_an_engine_used_before_concludes_what_a_new_one_does(data: st.DataObject) -> None:
    base = data.draw(rule_bases())
    used = Engine(compile_productions(base))
    for _ in range(3):
        known = data.draw(evidence(base))
        cleared = data.draw(st.lists(st.sampled_from(sorted(base.causes)), max_size=1))
        new = Engine(compile_productions(base))
        assert used.conclude(known, cleared=cleared) == new.conclude(known, cleared=cleared)


def test_the_shipped_engine_used_before_concludes_what_a_new_one_does() -> None:
    used = Engine(PRODUCTIONS)
    cases = [
        {"hangs": [("knot_one_end",)], "cycled": [("yes",)], "which": [("one",)]},
        {"hangs": [("runs_back",)], "code": [("knotter_no_cycle",)]},
        {"grade.needle_height": [("low",)], "tails": [("uneven", "short")]},
    ]
    for known in cases:
        used.conclude(known)
    for known in cases:
        assert used.conclude(known) == Engine(PRODUCTIONS).conclude(known)


def test_rules_that_do_not_come_to_rest_are_stopped_and_the_next_case_is_right() -> None:
    known = {"hangs": [("knot_one_end",)], "cycled": [("yes",)]}
    engine = Engine(PRODUCTIONS)
    expected = engine.conclude(known)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(forward, "STEP_LIMIT", 3)
        with pytest.raises(RuntimeError, match="not come to rest after 3 firings"):
            engine.conclude(known)
    assert engine.conclude(known) == expected


def test_every_production_has_a_salience_of_its_own_and_denies_only_what_is_given() -> None:
    """Equal saliences together with negation leave stale activations in the engine."""
    assert len({p.salience for p in PRODUCTIONS}) == len(PRODUCTIONS)
    assert {pattern.template for p in PRODUCTIONS for pattern in p.unless} == {"given"}


def test_importing_the_engine_leaves_logging_and_collections_as_they_were() -> None:
    program = """
import collections, logging
root = logging.getLogger()
own = logging.NullHandler()
root.addHandler(own)
root.setLevel(logging.ERROR)
before = hasattr(collections, "Mapping")
import diagnose.inference.forward
assert root.handlers == [own], root.handlers
assert root.level == logging.ERROR, root.level
assert hasattr(collections, "Mapping") == before
"""
    result = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert result.returncode == 0, result.stderr


def test_a_first_step_needs_no_engine() -> None:
    """Importing what reasons does not import the rule engine, which is slow to load."""
    program = "import sys, diagnose.session; assert 'experta' not in sys.modules"
    result = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert result.returncode == 0, result.stderr
