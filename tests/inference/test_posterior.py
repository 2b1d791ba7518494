"""The posterior against two reference libraries, on the network of the whole rule base."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.inference.tables import Evidence, Tables
from diagnose.knowledge import Knowledge, load_rules
from tests.inference.networks import by_pgmpy, by_pyagrum, network_of
from tests.strategies import evidence, rule_bases

BASE = load_rules()
TABLES = Tables(BASE)
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::FutureWarning")


@st.composite
def all_kinds_of_evidence(draw: st.DrawFn, base: Knowledge, most: int = 4) -> Evidence:
    """Answers for the tie in hand, and results of checks, done twice too."""
    answers = {sign: given[0] for sign, given in draw(evidence(base, most)).items()}
    results = []
    for check in draw(st.lists(st.sampled_from(sorted(base.checks)), max_size=3)):
        found = draw(st.sampled_from([None, None, *base.checks[check].confirms]))
        results.append((check, found))
    return Evidence(answers=answers, results=tuple(results))


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(all_kinds_of_evidence(BASE))
def test_on_the_shipped_base_both_libraries_give_our_posterior(known: Evidence) -> None:
    network, ours = network_of(BASE, known), TABLES.posterior(known).by_cause
    assert by_pgmpy(network) == pytest.approx(ours, abs=1e-9)
    assert by_pyagrum(network) == pytest.approx(ours, abs=1e-9)


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_on_small_random_bases_both_libraries_give_our_posterior(data: st.DataObject) -> None:
    base = data.draw(rule_bases())
    known = data.draw(all_kinds_of_evidence(base))
    network, ours = network_of(base, known), Tables(base).posterior(known).by_cause
    assert by_pgmpy(network) == pytest.approx(ours, abs=1e-9)
    assert by_pyagrum(network) == pytest.approx(ours, abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(all_kinds_of_evidence(BASE), st.sampled_from(sorted(BASE.causes)))
def test_a_mended_cause_is_out_and_the_others_keep_their_odds(known: Evidence, cause: str) -> None:
    before = TABLES.posterior(known).by_cause
    mended = Evidence(known.answers, known.results, frozenset({cause}))
    after = TABLES.posterior(mended).by_cause
    left = 1 - before[cause]
    assert after == pytest.approx(
        {c: 0.0 if c == cause else p / left for c, p in before.items()}, abs=1e-9
    )
