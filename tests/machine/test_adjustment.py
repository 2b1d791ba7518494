"""How far to turn: checked by hand against pitch, lever and spring rate."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.case import Reading
from diagnose.knowledge.model import Knowledge
from diagnose.machine.adjustment import Adjustment, adjustment, move_lines
from diagnose.machine.profile import MachineFile
from diagnose.machine.units import convert

same_fixture = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])


def _found(
    knowledge: Knowledge, machine: MachineFile | None, name: str, value: float, unit: str = "mm"
) -> Adjustment:
    return adjustment(
        knowledge.settings[name], Reading(setting=name, value=value, unit=unit), machine
    )


def test_a_spring_three_millimetres_short_wants_two_turns_of_m10(
    knowledge: Knowledge, machine: MachineFile
) -> None:
    found = _found(knowledge, machine, "spring", 30)
    assert (found.grade, found.move, str(found.turns)) == ("low", 3, "2 turns")
    assert found.effect == "the spring gets longer"
    # k = 28.682 N/mm as in the handbook row; free length 60 mm.
    assert found.force == pytest.approx((28.682 * 30, 28.682 * 27), abs=0.1)
    assert move_lines(found) == [
        "Change it by 3.0 mm: 2 turns, so that the spring gets longer.",
        "Spring force 860 N now, 774 N when set.",
    ]


def test_a_lever_makes_a_small_turn_a_large_movement_and_warns(
    knowledge: Knowledge, machine: MachineFile
) -> None:
    found = _found(knowledge, machine, "height", 14)
    # M16: 2 mm a turn, arms 60 and 720 mm: 24 mm at the tip for a turn, 6 mm for a quarter.
    assert found.per_turn == pytest.approx(24)
    assert str(found.turns) == "1 1/2 flats"
    text = "\n".join(move_lines(found))
    assert "a quarter turn moves it 6.0 mm" in text
    assert "the needle stands lower" in text


def test_a_reading_on_the_limit_is_measured_again_before_anything_is_turned(
    knowledge: Knowledge, machine: MachineFile
) -> None:
    found = _found(knowledge, machine, "spring", 32.1)
    assert found.on_limit
    assert not found.wanted
    assert "measure again" in move_lines(found)[0]


def test_a_reading_in_its_band_is_left_alone(knowledge: Knowledge, machine: MachineFile) -> None:
    assert move_lines(_found(knowledge, machine, "spring", 33.4)) == []


def test_without_a_machine_file_one_line_says_what_to_measure(knowledge: Knowledge) -> None:
    found = _found(knowledge, None, "height", 12)
    assert (found.turns, found.per_turn) == (None, None)
    assert len(found.to_measure) == 1
    assert "read the adjuster's thread" in found.to_measure[0]


def test_a_thread_without_its_lever_gives_no_turns(knowledge: Knowledge) -> None:
    machine = MachineFile.model_validate(
        {"name": "A", "knotters": 6, "adjusters": {"height": {"thread": "M16"}}}
    )
    found = _found(knowledge, machine, "height", 12)
    assert found.turns is None
    assert "from the pivot to the adjuster" in found.to_measure[0]


def test_what_a_turn_was_seen_to_move_goes_before_thread_and_lever(knowledge: Knowledge) -> None:
    tried = {"thread": "M16", "direct": True, "per_turn": "12 mm"}
    machine = MachineFile.model_validate(
        {"name": "A", "knotters": 6, "adjusters": {"height": tried}}
    )
    assert _found(knowledge, machine, "height", 14).per_turn == 12


def test_a_force_is_turned_by_the_rate_of_its_spring(knowledge: Knowledge) -> None:
    spring = {"wire": "5 mm", "mean_diameter": "30 mm", "active_coils": 8, "modulus": "79.3 GPa"}
    machine = MachineFile.model_validate(
        {
            "name": "A",
            "knotters": 6,
            "adjusters": {"brake": {"thread": "M10", "direct": True}},
            "springs": {"brake": spring},
        }
    )
    found = _found(knowledge, machine, "brake", 50 - 43.02, "N")
    assert found.turns is not None
    assert found.turns.exact == pytest.approx(1, abs=1e-3)


def test_inches_on_request(knowledge: Knowledge, machine: MachineFile) -> None:
    lines = move_lines(_found(knowledge, machine, "spring", 30), inches=True)
    assert lines[0].startswith("Change it by 0.118 in: 2 turns")
    assert "lbf" in lines[1]


@same_fixture
@given(away=st.floats(-25, 25), unit=st.sampled_from(["mm", "in", "cm"]))
def test_turning_as_told_leaves_less_than_half_a_flat(
    knowledge: Knowledge, machine: MachineFile, away: float, unit: str
) -> None:
    value = convert(33 + away, "mm", unit)
    found = _found(knowledge, machine, "spring", value, unit)
    assert found.left_over is not None
    assert found.per_turn is not None
    assert abs(found.left_over) <= found.per_turn / 24 + 1e-9


@same_fixture
@given(away=st.floats(0.3, 20))
def test_as_much_too_low_as_too_high_is_turned_back_by_as_much(
    knowledge: Knowledge, machine: MachineFile, away: float
) -> None:
    low = _found(knowledge, machine, "spring", 33 - away)
    high = _found(knowledge, machine, "spring", 33 + away)
    assert low.turns is not None
    assert high.turns is not None
    assert low.turns.exact + high.turns.exact == pytest.approx(0, abs=1e-9)
    assert {low.effect, high.effect} == {"the spring gets longer", "the spring gets shorter"}
