"""Two sheets: drift beyond the gauges, wear per thousand bales, and when it leaves its band."""

from datetime import date
from math import hypot
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.case import Reading
from diagnose.errors import InputError, Place
from diagnose.knowledge.model import Knowledge
from diagnose.sheet.compare import Drift, compare
from diagnose.sheet.model import Entry, Sheet
from diagnose.sheet.text import drift_lines

KNOTTER = 3


def _sheet(
    value: float,
    bales: int | None = None,
    *,
    unit: str = "mm",
    machine: str = "A",
    day: date | None = None,
) -> Sheet:
    reading = Reading(setting="spring", knotter=KNOTTER, value=value, unit=unit, uncertainty=0.1)
    if unit != "mm":
        reading = reading.model_copy(update={"uncertainty": 0.1 / 25.4})
    entry = Entry(reading, Place("s.csv", 2))
    return Sheet(Path("s.csv"), (entry,), machine=machine, bales=bales, date=day)


def _drift(before: Sheet, after: Sheet, knowledge: Knowledge) -> Drift:
    (drift,) = compare(before, after, knowledge)
    return drift


def test_wear_per_thousand_bales_and_bales_left(knowledge: Knowledge) -> None:
    drift = _drift(_sheet(33.0, 10_000), _sheet(33.5, 12_500), knowledge)
    assert drift.rate == pytest.approx(0.2)
    # 0.5 mm to the limit of 34 at 0.2 mm a thousand; the gauges leave 0.5 -+ 0.1414 open.
    assert drift.thousand_bales_left(0.2) == pytest.approx(2.5)
    assert drift.left == pytest.approx(
        (0.5 * 2.5 / (0.5 + hypot(0.1, 0.1)), 0.5 * 2.5 / (0.5 - hypot(0.1, 0.1)))
    )
    text = " ".join(drift_lines(_sheet(33.0, 10_000), [drift]))
    assert "leaves its band (34.0 mm) in about 2 500 bales" in text


def test_a_change_within_the_gauges_is_no_drift(knowledge: Knowledge) -> None:
    drift = _drift(_sheet(33.0, 10_000), _sheet(33.14, 12_500), knowledge)
    assert not drift.drifted
    assert drift.rate is None
    assert _drift(_sheet(33.0), _sheet(33.15), knowledge).drifted


def test_without_bale_counts_there_is_drift_but_no_rate(knowledge: Knowledge) -> None:
    drift = _drift(_sheet(33.0), _sheet(33.5, 12_500), knowledge)
    assert drift.drifted
    assert drift.rate is None
    assert "write the bale counter" in " ".join(drift_lines(_sheet(33.0), [drift]))


def test_what_came_nearer_its_nominal_was_set_in_between(knowledge: Knowledge) -> None:
    drift = _drift(_sheet(30.5, 10_000), _sheet(33.0, 12_500), knowledge)
    assert drift.set_between
    assert drift.rate is None


def test_what_has_left_its_band_is_said_to_have_left(knowledge: Knowledge) -> None:
    drift = _drift(_sheet(33.0, 10_000), _sheet(34.6, 12_500), knowledge)
    assert drift.left == (0.0, 0.0)
    assert "has left its band" in " ".join(drift_lines(_sheet(33.0), [drift]))


def test_inches_and_millimetres_compare(knowledge: Knowledge) -> None:
    drift = _drift(_sheet(33.0 / 25.4, 10_000, unit="in"), _sheet(33.5, 12_500), knowledge)
    assert drift.rate == pytest.approx(0.2)


def test_two_machines_or_a_counter_that_runs_back_are_refused(knowledge: Knowledge) -> None:
    with pytest.raises(InputError, match="two machines"):
        compare(_sheet(33), _sheet(33, machine="B"), knowledge)
    with pytest.raises(InputError, match="counter runs back"):
        compare(_sheet(33, 12_000), _sheet(33, 10_000), knowledge)
    with pytest.raises(InputError, match="is later than"):
        compare(_sheet(33, day=date(2026, 7, 1)), _sheet(33, day=date(2026, 4, 1)), knowledge)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(wear=st.floats(0.05, 0.4), bales=st.integers(1000, 5000))
def test_even_wear_leaves_its_band_when_foretold(
    knowledge: Knowledge, wear: float, bales: int
) -> None:
    after = 33 + wear * bales / 1000
    drift = _drift(_sheet(33.0, 0), _sheet(after, bales), knowledge)
    if drift.rate is None or drift.left is None:
        assert abs(drift.change) <= drift.uncertainty
        return
    at_limit = after + wear * drift.thousand_bales_left(drift.rate)
    assert at_limit == pytest.approx(max(34.0, after))
    soon, late = drift.left
    assert soon <= drift.thousand_bales_left(drift.rate) <= late
