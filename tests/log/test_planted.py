"""Planted faults are found again, and sound machines are left alone (the bench measures more)."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.knowledge import load_rules
from diagnose.log.batch import machine_findings
from diagnose.log.reason import PatternReasoner, pattern_of
from diagnose.log.troubles import Trouble
from diagnose.session import Reasoner
from tests.log.simulate import BALES, PLANTS, Fault, season, steps
from tests.log.tables import PLAIN

TABLE = PLAIN
REASONER = Reasoner(load_rules())


def found(seed: int, *faults: Fault, marks: list[tuple[int, str]] | None = None) -> list[Trouble]:
    events = season(seed, list(faults), marks=marks).drop("machine")
    return list(machine_findings(("Baler A", events, TABLE, 6)).troubles)


def test_sound_machines_are_left_alone() -> None:
    assert sum(bool(found(seed)) for seed in range(100)) <= 1


@pytest.mark.parametrize("name", PLANTS)
def test_a_planted_fault_is_found_where_it_is_and_by_its_mechanism(name: str) -> None:
    plant = PLANTS[name]
    right = 0
    for seed in range(8):
        fault, knotters, mechanism = plant(np.random.default_rng(seed))
        first = found(100 + seed, fault)[0]
        patterns = PatternReasoner(REASONER)
        reasoned = patterns.reason(pattern_of(first, REASONER.base))
        placed = first.which.knotters == knotters or (not knotters and not first.which.p_hot)
        right += placed and mechanism in (None, reasoned.mechanism)
    assert right >= 7


def test_codes_that_fall_at_the_same_bales_are_one_trouble() -> None:
    fault = Fault(("twine_load_low", "tie_missed"), (3,), steps(BALES, (1000, 0.05)))
    [trouble] = found(5, fault)
    assert {code for code, _ in trouble.codes} == {"twine_load_low", "tie_missed"}
    assert trouble.which.knotters == (3,)


def test_two_faults_on_one_machine_are_two_troubles() -> None:
    troubles = found(
        6,
        Fault(("tie_missed",), (3,), steps(BALES, (1000, 0.05))),
        Fault(("density_over",), (0,), steps(BALES, (2000, 0.1))),
    )
    assert [t.which.knotters for t in troubles] in ([(3,), ()], [(), (3,)])
    assert {t.codes[0][0] for t in troubles} == {"tie_missed", "density_over"}


def test_a_fault_of_the_last_hundred_bales_is_not_drowned_by_a_long_sound_season() -> None:
    [trouble] = found(8, Fault(("tie_missed",), (5,), steps(BALES, (BALES - 100, 0.12))))
    assert trouble.which.knotters == (5,)


def test_ties_at_risk_follow_todays_rate_and_are_none_when_it_is_over() -> None:
    [now] = found(9, Fault(("tie_missed",), (5,), steps(BALES, (2000, 0.10))))
    per_day = BALES / 14
    assert now.ties_a_day == pytest.approx(0.10 * per_day, rel=0.3)
    [over] = found(9, Fault(("tie_missed",), (5,), steps(BALES, (1000, 0.10), (2000, 0.0))))
    assert over.ties_a_day == 0
    assert not over.going_on


def test_a_sensor_fault_leads_to_the_sensor() -> None:
    [trouble] = found(10, Fault(("sensor_circuit",), (2,), steps(BALES, (2000, 0.05))))
    reasoned = PatternReasoner(REASONER).reason(pattern_of(trouble, REASONER.base))
    assert reasoned.suspects[0].id == "sensor_circuit"


def test_a_pattern_is_reasoned_once() -> None:
    patterns = PatternReasoner(REASONER)
    fault = Fault(("knotter_no_cycle",), (0,), steps(BALES, (2000, 0.05)))
    pairs = [pattern_of(found(seed, fault)[0], REASONER.base) for seed in range(4)]
    results = [patterns.reason(pattern) for pattern in pairs]
    assert patterns.asked == 4
    assert patterns.distinct == len(set(pairs)) < 4
    assert results[0] is patterns.reason(pairs[0])
