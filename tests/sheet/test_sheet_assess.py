"""A sheet against its tolerances: what to set, in which order, and what stands out."""

from itertools import pairwise, permutations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats  # type: ignore[import-untyped]
from statsmodels.robust.scale import mad  # type: ignore[import-untyped]

from diagnose.case import Reading
from diagnose.errors import Place
from diagnose.knowledge.load import load_rules
from diagnose.knowledge.model import Knowledge
from diagnose.machine.profile import MachineFile
from diagnose.sheet.as_json import findings_data
from diagnose.sheet.assess import Findings, all_cells, assess
from diagnose.sheet.evenness import evenness, modified_z
from diagnose.sheet.model import Entry, Sheet
from diagnose.sheet.order import measure_again, measuring_order, setting_order, shortest_path
from diagnose.sheet.text import report_lines

ROW = st.lists(st.integers(0, 400).map(lambda n: n / 10), min_size=4, max_size=12)


def _sheet(*cells: tuple[str, int | None, float, str]) -> Sheet:
    entries = tuple(
        Entry(Reading(setting=s, knotter=k, value=v, unit=u), Place("s.csv", line))
        for line, (s, k, v, u) in enumerate(cells, 2)
    )
    return Sheet(Path("s.csv"), entries, knotters=6)


def _text(findings: Findings) -> str:
    return "\n".join(report_lines(findings))


def test_each_cell_is_low_in_high_on_the_limit_or_not_measured(
    knowledge: Knowledge, machine: MachineFile
) -> None:
    sheet = _sheet(
        ("spring", 1, 33, "mm"),
        ("spring", 2, 30.5, "mm"),
        ("spring", 3, 36, "mm"),
        ("spring", 4, 34.1, "mm"),
    )
    findings = assess(sheet, knowledge, machine)
    row = findings.row("spring")
    assert [found.grade if found else None for found in row.values()] == [
        *("in", "low", "high", "in_or_high"),
        *(None, None),
    ]
    assert findings.to_set == (("spring", 2), ("spring", 3))
    assert findings.on_limit == (("spring", 4),)
    assert findings.not_measured["spring"] == [5, 6]
    assert findings.not_measured["brake"] == [None]


def test_the_manuals_tolerance_decides(knowledge: Knowledge, machine: MachineFile) -> None:
    sheet = _sheet(("travel", 1, 106.8, "mm"))
    assert assess(sheet, knowledge, machine).to_set == (("travel", 1),)
    assert assess(sheet, knowledge, None).on_limit == (("travel", 1),)


def test_what_moves_another_is_set_before_it(knowledge: Knowledge) -> None:
    assert setting_order(knowledge, ["travel", "height"]) == ["height", "travel"]
    assert measure_again(knowledge, ["height"]) == ["travel", "height"]


def test_the_report_says_failure_effect_order_and_what_to_measure_again(
    knowledge: Knowledge, machine: MachineFile
) -> None:
    sheet = _sheet(("travel", 4, 98, "mm"), ("height", 4, 12, "mm"))
    text = _text(assess(sheet, knowledge, machine))
    assert text.index("1. needle height, knotter 4") < text.index("2. needle travel, knotter 4")
    assert "so that the needle stands lower" in text
    assert "If left: needle travel too short -> the needle missed." in text
    assert "machine's manual: own manual, page 12" in text.replace("\n   ", " ")
    assert "measure again: needle travel; needle height" in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_a_doubted_cell_is_left_out_and_asked_back(knowledge: Knowledge) -> None:
    findings = assess(_sheet(("travel", 1, 10.5, "mm")), knowledge, None)
    assert findings.cells["travel", 1] is None
    assert findings.to_set == ()
    assert "s.csv:2" in _text(findings)
    assert "Is 105 mm meant" in _text(findings)
    assert "travel" not in findings_data(findings)["evenness"]


def test_without_readings_nothing_is_claimed(knowledge: Knowledge) -> None:
    findings = assess(_sheet(), knowledge, None)
    assert findings.to_set == ()
    assert findings.on_limit == ()
    assert set(findings.not_measured) == set(knowledge.settings)


def test_the_whole_sheet_is_measured_with_the_fewest_minutes_of_moves() -> None:
    real = load_rules()
    order, minutes = measuring_order(real, real.settings)
    assert sorted(order) == sorted(real.settings)
    assert len(all_cells(real, 6)) == sum(
        6 if setting.per == "knotter" else 1 for setting in real.settings.values()
    )
    shuffled, same = measuring_order(real, reversed(list(real.settings)))
    assert (shuffled, same) == (order, minutes)


@given(st.lists(st.lists(st.integers(0, 30), min_size=5, max_size=5), min_size=5, max_size=5))
def test_the_path_through_the_setups_is_as_short_as_brute_force(costs: list[list[int]]) -> None:
    path = shortest_path(costs, 0, range(1, 5))

    def length(stops: list[int]) -> int:
        return sum(costs[a][b] for a, b in pairwise([0, *stops]))

    assert sorted(path) == [1, 2, 3, 4]
    assert length(path) == min(length(list(way)) for way in permutations(range(1, 5)))


@given(ROW)
def test_modified_z_agrees_with_scipy_and_statsmodels(row: list[float]) -> None:
    values = dict(enumerate(row, 1))
    scale = stats.median_abs_deviation(row, scale=0.6745)
    assert scale == pytest.approx(mad(np.array(row), c=0.6745))
    if scale > 0.01:
        ours = modified_z(values, 1e-9)
        theirs = (np.array(row) - np.median(row)) / scale
        assert list(ours.values()) == pytest.approx(list(theirs))


def test_the_odd_one_out_is_named() -> None:
    even = evenness({1: 105, 2: 105.2, 3: 104.9, 4: 98.5, 5: 105.1, 6: 105}, gauge=0.5)
    assert even is not None
    assert even.odd == (4,)
    assert even.spread == pytest.approx(6.7)


def test_equal_readings_and_one_within_the_gauge_are_even() -> None:
    even = evenness({1: 33, 2: 33, 3: 33, 4: 33, 5: 33, 6: 33.4}, gauge=0.5)
    assert even is not None
    assert even.odd == ()


def test_three_readings_name_no_odd_one() -> None:
    even = evenness({1: 33, 2: 33, 3: 40}, gauge=0.5)
    assert even is not None
    assert (even.odd, even.judged) == ((), False)
    assert evenness({1: 33}, gauge=0.5) is None


@pytest.mark.parametrize("knotters", [4, 5, 6, 7, 8])
def test_an_even_shaft_is_called_uneven_in_five_of_a_hundred_at_most(knotters: int) -> None:
    rng = np.random.default_rng(knotters)
    rows = rng.normal(100, 1, size=(4000, knotters))
    false = sum(
        bool(even.odd)
        for row in rows
        if (even := evenness(dict(enumerate(row.tolist(), 1)), gauge=1e-9))
    )
    # 5 % of 4000 is 200; four standard errors above it.
    assert false <= 200 + 4 * (4000 * 0.05 * 0.95) ** 0.5
    coarse = sum(
        bool(even.odd)
        for row in rows
        if (even := evenness(dict(enumerate(row.tolist(), 1)), gauge=1.0))
    )
    assert coarse < false
