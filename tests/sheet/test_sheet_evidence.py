"""A sheet in a question session: evidence at once, and nothing asked that it settles."""

from pathlib import Path

import pytest

from diagnose.case import Case, MadeSafe, Reading
from diagnose.knowledge.load import load_rules
from diagnose.machine.profile import MachineFile, read_machine, with_manual
from diagnose.session.diagnosis import diagnose
from diagnose.session.reasoner import Reasoner
from diagnose.sheet.evidence import sheet_readings

DEMO = Path(__file__).parents[2] / "casebook_demo"
RULES = load_rules()


@pytest.fixture(scope="module")
def baler_c() -> MachineFile:
    return read_machine(DEMO / "machines/baler_c.yaml", RULES)


@pytest.fixture(scope="module")
def reasoner(baler_c: MachineFile) -> Reasoner:
    return Reasoner(with_manual(RULES, baler_c))


def _case(baler_c: MachineFile, *readings: Reading) -> Case:
    return Case(id="test", machine=baler_c.in_case(), events=(MadeSafe(), *readings))


def test_a_short_needle_on_the_sheet_is_the_first_suspect(
    reasoner: Reasoner, baler_c: MachineFile
) -> None:
    readings, doubted = sheet_readings(DEMO / "sheets/baler_c_2026-07-22.yaml", RULES, baler_c)
    found = diagnose(reasoner, _case(baler_c, *readings))
    assert doubted == ()
    assert found.suspects[0].id == "needle_travel_short"
    assert found.suspects[0].chance > 10 * found.suspects[1].chance


def test_what_the_sheet_measured_in_tolerance_is_cleared_and_not_checked_again(
    reasoner: Reasoner, baler_c: MachineFile
) -> None:
    readings, _ = sheet_readings(DEMO / "sheets/baler_c_2026-07-06.csv", RULES, baler_c)
    found = diagnose(reasoner, _case(baler_c, *readings))
    checked = {check for _, check in found.cleared}
    assert {"measure_clamp_spring", "measure_needle_height", "pull_brake"} <= checked
    before = {s.id: s.chance for s in diagnose(reasoner, _case(baler_c)).suspects}
    after = {s.id: s.chance for s in found.suspects}
    assert after["clamp_spring_weak"] < before["clamp_spring_weak"]
    assert found.step.id not in checked


def test_a_reading_has_the_same_weight_in_any_unit(
    reasoner: Reasoner, baler_c: MachineFile
) -> None:
    metric = Reading(setting="needle_travel", value=107.5, unit="mm", knotter=4)
    inches = Reading(setting="needle_travel", value=107.5 / 25.4, unit="in", knotter=4)
    one, other = (diagnose(reasoner, _case(baler_c, r)) for r in (metric, inches))
    assert [(s.id, s.chance) for s in one.suspects] == [(s.id, s.chance) for s in other.suspects]


def test_a_doubted_cell_is_no_evidence(tmp_path: Path, baler_c: MachineFile) -> None:
    path = tmp_path / "s.csv"
    path.write_text(
        "knotter,setting,value,unit\n4,needle_travel,10.75,mm\n4,needle_height,16,mm\n",
        encoding="utf-8",
    )
    readings, doubted = sheet_readings(path, RULES, baler_c)
    assert [r.setting for r in readings] == ["needle_height"]
    assert [slip.entry.reading.setting for slip in doubted] == ["needle_travel"]


def test_a_sheet_moves_nobody_from_where_the_search_begins(
    reasoner: Reasoner, baler_c: MachineFile
) -> None:
    readings, _ = sheet_readings(DEMO / "sheets/baler_c_2026-07-22.yaml", RULES, baler_c)
    case = Case(id="test", machine=baler_c.in_case(), events=(*readings, MadeSafe()))
    assert diagnose(reasoner, case).step.way == 0


def test_what_a_session_measured_reads_back_as_a_sheet(
    tmp_path: Path, baler_c: MachineFile
) -> None:
    first = Reading(setting="needle_travel", value=107.5, unit="mm", knotter=4)
    again = first.model_copy(update={"value": 113.8})
    brake = Reading(setting="twine_brake", value=5, unit="lbf", knotter=1, uncertainty=0.5)
    path = tmp_path / "bale.json"
    path.write_text(_case(baler_c, first, brake, again).model_dump_json(), encoding="utf-8")
    readings, _ = sheet_readings(path, RULES, baler_c)
    assert readings == (again, brake)
