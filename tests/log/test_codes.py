"""The code table: what is mapped, what leads to the sensor, what is never guessed."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.errors import InputError
from diagnose.knowledge.references import fault_codes
from diagnose.log.codes import read_code_table
from diagnose.log.fmi import SENSOR
from tests.log.tables import BASE, PLAIN, table

BUS = {"bus": {"codes": [
    {"source": 128, "spn": 520196, "code": "tie_missed", "knotter": 4},
    {"spn": 520196, "code": "twine_out"},
    {"spn": 77, "fmi": 3, "code": "twine_load_high"},
    {"spn": 77, "code": "twine_load_low"},
    {"spn": 78, "ignore": "lamp test"},
]}}  # fmt: skip


def test_the_ready_table_has_the_codes_of_the_rule_base_and_the_bale_counter() -> None:
    assert set(PLAIN.codes) == {*fault_codes(BASE), "bale"}


def test_neutral_codes_need_no_table() -> None:
    meaning = PLAIN.meaning("twine_out")
    assert meaning is not None
    assert meaning.id == "twine_out"
    assert PLAIN.meaning("E-517") is None


def test_the_entry_that_names_most_goes_first() -> None:
    codes = table(**BUS)
    assert codes.bus_meaning(128, 520196, 31).id == "tie_missed"  # type: ignore[union-attr]
    assert codes.bus_meaning(33, 520196, 31).id == "twine_out"  # type: ignore[union-attr]
    assert codes.bus_meaning(33, 77, 3).id == "twine_load_high"  # type: ignore[union-attr]
    assert codes.meaning("128/520196/7").knotter == 4  # type: ignore[union-attr]


@pytest.mark.parametrize("failure", sorted(SENSOR))
def test_an_fmi_about_sensor_or_wiring_leads_to_the_sensor_not_the_knotter(failure: int) -> None:
    codes = table(**BUS)
    meaning = codes.bus_meaning(128, 520196, failure)
    assert meaning is not None
    assert meaning.id == "sensor_circuit"
    assert codes.bus_meaning(1, 78, failure).ignore == "lamp test"  # type: ignore[union-attr]


def test_nothing_is_said_of_an_spn_nobody_mapped() -> None:
    codes = table(**BUS)
    assert all(codes.bus_meaning(128, 4321, failure) is None for failure in range(32))


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "codes.yaml"
    path.write_text(text)
    return path


@pytest.mark.parametrize(
    ("text", "line", "told"),
    [
        ("codes:\n  E1: tie_mised\n", 2, "did you mean 'tie_missed'?"),
        ("codes:\n  E1: {sign: shear_bold, answer: needles}\n", 2, "did you mean 'shear_bolt'?"),
        ("codes:\n  E1: {sign: shear_bolt, answer: needle}\n", 2, "did you mean 'needles'?"),
        ("codes:\n  E1: {sign: shear_bolt}\n", 2, "sign and answer go together"),
        ("codes:\n  E1: {knotter: 4}\n", 2, "write one of code, sign with answer, or ignore"),
        ("codes:\n  E1: bale\n  E1: bale\n", 3, "stands twice"),
        ("format: 1\nbuss: {}\n", 2, "unknown key 'buss', did you mean 'bus'?"),
        ("bus:\n  codes:\n    - {spn: 600000, code: bale}\n", 3, "524287"),
        ("normal: {tie_misst: 3}\n", 1, "did you mean 'tie_missed'?"),
    ],
)
def test_a_fault_in_a_code_table_is_told_with_its_line(
    tmp_path: Path, text: str, line: int, told: str
) -> None:
    path = written(tmp_path, text)
    with pytest.raises(InputError) as caught:
        read_code_table(path, BASE)
    assert f"{path}:{line}: " in str(caught.value)
    assert told in str(caught.value)


def test_own_everyday_rates_go_before_the_ready_ones(tmp_path: Path) -> None:
    table = read_code_table(written(tmp_path, "normal: {tie_missed: 5}\n"), BASE)
    assert table.normal_rate("tie_missed") == 0.005
    assert PLAIN.normal_rate("tie_missed") == 0.001
