"""Threads, springs and levers against published tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.errors import InputError
from diagnose.machine.profile import Adjuster, Arms, Spring
from diagnose.machine.springs import spring_force, spring_rate
from diagnose.machine.threads import ISO_COARSE, Turns, pitch, turns_for
from diagnose.machine.units import convert


@pytest.mark.parametrize(
    ("thread", "mm"),
    # ISO 261 and 262, coarse pitches.
    [
        *(("M6", 1), ("M8", 1.25), ("M10", 1.5), ("M12", 1.75), ("M14", 2), ("M16", 2)),
        *(("M18", 2.5), ("M20", 2.5)),
        *(("M12 x 1.25", 1.25), ("M12x1,25", 1.25), ("pitch 1.5 mm", 1.5)),
    ],
)
def test_metric_pitches(thread: str, mm: float) -> None:
    assert pitch(thread) == mm


@pytest.mark.parametrize(
    ("thread", "mm"),
    # UNC threads an inch, ASME B1.1 (from memory but 3/8-16), times 25.4.
    [
        *(("1/4-20", 1.27), ("5/16-18", 1.4111), ("3/8-16", 1.5875), ("7/16-14", 1.8143)),
        *(("1/2-13", 1.9538), ("5/8-11", 2.3091), ("3/4-10", 2.54), ("3/8 UNC", 1.5875)),
    ],
)
def test_inch_pitches(thread: str, mm: float) -> None:
    assert pitch(thread) == pytest.approx(mm, abs=5e-5)


@pytest.mark.parametrize("thread", ["M11", "hook", "3/8-0", "pitch 0 mm", "pitch 3", "11/16 UNC"])
def test_an_unknown_thread_is_refused(thread: str) -> None:
    with pytest.raises(InputError):
        pitch(thread)


@pytest.mark.parametrize(
    ("thread", "turns", "words"),
    [
        ("M8", 2.4, "2 turns and 2 1/2 flats"),
        ("M10", 2.0, "2 turns"),
        ("M12", 1.714, "1 turn and 4 1/2 flats"),
    ],
)
def test_three_millimetres_of_adjuster_travel(thread: str, turns: float, words: str) -> None:
    result = turns_for(3, pitch(thread))
    assert result.exact == pytest.approx(turns, abs=5e-4)
    assert str(result) == words


def test_one_hex_flat_is_a_sixth_of_the_pitch() -> None:
    assert turns_for(pitch("M12") / 6, pitch("M12")).half_flats == 2
    assert str(turns_for(pitch("M12") / 6, pitch("M12"))) == "1 flat"


@given(st.floats(-500, 500), st.sampled_from(list(ISO_COARSE.values())), st.sampled_from([4, 6]))
def test_a_turn_out_and_back_gives_zero(move: float, per_turn: float, flats: int) -> None:
    out, back = turns_for(move, per_turn, flats), turns_for(-move, per_turn, flats)
    assert out.half_flats + back.half_flats == 0
    assert out.exact + back.exact == 0


@given(st.floats(-500, 500), st.sampled_from([1, 2, 4, 6]))
def test_the_words_are_within_a_quarter_flat_of_the_computed_turns(
    exact: float, flats: int
) -> None:
    turns = Turns(exact, flats)
    assert abs(turns.rounded - exact) <= 0.25 / flats + 1e-9


def test_the_handbook_spring() -> None:
    # Shigley ch. 10, worked example: inputs from memory, result computed from them.
    rate = spring_rate(
        convert(0.037, "in", "mm"), convert(0.4, "in", "mm"), 10.5, convert(11.85, "Mpsi", "GPa")
    )
    per_inch = rate * 25.4 / 4.4482216152605
    assert per_inch == pytest.approx(4.131, abs=5e-4)


def test_a_spring_given_by_its_outside_diameter() -> None:
    spring = Spring.model_validate(
        {"wire": "4 mm", "outside_diameter": "30 mm", "active_coils": 9, "modulus": "79.3 GPa"}
    )
    assert spring.rate == pytest.approx(16.042, abs=5e-4)


def test_force_and_one_turn_of_m10() -> None:
    rate = spring_rate(5, 30, 8, 79.3)
    assert rate == pytest.approx(28.682, abs=5e-4)
    assert spring_force(rate, 60, 45) == pytest.approx(430.23, abs=5e-3)
    assert rate * pitch("M10") == pytest.approx(43.02, abs=5e-3)


def test_a_free_spring_pulls_nothing() -> None:
    assert spring_force(28.7, 60, 61) == 0


def test_a_wire_thicker_than_its_coil_is_refused() -> None:
    with pytest.raises(InputError, match="does not fit"):
        spring_rate(5, 4, 8, 79.3)


def test_a_lever_multiplies_the_thread() -> None:
    arms = Arms.model_validate({"adjuster": "60 mm", "measured": "720 mm"})
    assert Adjuster(thread="M16", arms=arms).travel_per_turn == pytest.approx(24)
    assert Adjuster(thread="M16", direct=True).travel_per_turn == 2


def test_a_thread_without_its_lever_moves_an_unknown_amount() -> None:
    assert Adjuster(thread="M16").travel_per_turn is None
