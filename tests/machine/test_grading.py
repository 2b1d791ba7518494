"""A reading against its band: the unit never changes the grade, nor does the road to it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.errors import InputError
from diagnose.knowledge.model import Setting
from diagnose.machine.grading import POSSIBLE, grade
from diagnose.machine.units import convert

SPRING = Setting(
    name="length of the spring",
    part="hook",
    unit="mm",
    nominal=33,
    band=(32, 34),
    gauge=0.2,
    where="over the coils",
    more="the spring gets longer",
    less="the spring gets shorter",
    basis="common practice",
    band_basis="judgement",
)
TENTHS = st.integers(0, 700).map(lambda n: n / 10)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (31, "low"),
        (31.7, "low"),
        (31.8, "low_or_in"),
        (32.2, "low_or_in"),
        (32.3, "in"),
        (33.8, "in_or_high"),
        (34.2, "in_or_high"),
        (34.3, "high"),
    ],
)
def test_a_reading_within_its_uncertainty_of_a_limit_is_on_it(value: float, expected: str) -> None:
    assert grade(SPRING, value, "mm") == expected


def test_the_readings_own_uncertainty_goes_before_the_gauge() -> None:
    assert grade(SPRING, 31.7, "mm", 0.5) == "low_or_in"
    assert grade(SPRING, 1.25, "in", 0.04) == "low_or_in"


def test_a_gauge_coarser_than_the_band_settles_nothing() -> None:
    assert grade(SPRING, 33, "mm", 1.5) == "low_in_or_high"
    assert POSSIBLE["low_in_or_high"] == ("low", "in", "high")


def test_a_force_cannot_be_graded_as_a_length() -> None:
    with pytest.raises(InputError, match="length in mm is wanted"):
        grade(SPRING, 33, "N")


@pytest.mark.parametrize(
    ("value", "expected"), [(0, "in"), (0.1, "in"), (0.9, "in_or_high"), (1.4, "high")]
)
def test_no_wear_at_all_is_no_fault(value: float, expected: str) -> None:
    wear = SPRING.model_copy(update={"nominal": 0, "band": (0, 1)})
    assert grade(wear, value, "mm") == expected


@given(TENTHS, st.sampled_from(["cm", "m", "in", "ft"]), st.sampled_from([0.1, 0.2, 0.5, 1.0]))
def test_any_unit_gives_the_same_grade(value: float, unit: str, spread: float) -> None:
    there = grade(SPRING, convert(value, "mm", unit), unit, convert(spread, "mm", unit))
    assert there == grade(SPRING, value, "mm", spread)


@given(TENTHS, TENTHS)
def test_more_is_never_graded_lower(one: float, other: float) -> None:
    order = ["low", "low_or_in", "in", "in_or_high", "high"]
    less, more = sorted((one, other))
    assert order.index(grade(SPRING, less, "mm")) <= order.index(grade(SPRING, more, "mm"))


@given(TENTHS, st.sampled_from([0.1, 0.5, 2.0]))
def test_a_finer_gauge_never_contradicts_a_coarser_one(value: float, spread: float) -> None:
    fine, coarse = grade(SPRING, value, "mm", spread / 4), grade(SPRING, value, "mm", spread)
    assert set(POSSIBLE[fine]) & set(POSSIBLE[coarse])
    assert set(POSSIBLE[fine]) <= set(POSSIBLE[coarse])
