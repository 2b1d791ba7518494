"""Twine: force, margin, metres and balls, and nothing from a table of strengths."""

import pytest

from diagnose.errors import InputError
from diagnose.machine.profile import MachineFile
from diagnose.twine import formulas
from diagnose.twine.report import TwineInputs, TwineReport, lines, twine_report


def _report(
    machine: MachineFile | None = None, known: tuple[str, ...] = (), **given: str | int
) -> TwineReport:
    return twine_report(TwineInputs.read(given, known, machine))


def test_strand_force_from_bale_pressure() -> None:
    # F = p A / (2 n): 10 kPa on 1.2 x 0.9 m, six strands. Own model, computed by hand.
    assert formulas.strand_force(10, 1200, 900, 6) == pytest.approx(900)
    assert formulas.strand_force(10, 1200, 900, 5) == pytest.approx(1080)


def test_margin_against_the_strength_on_the_label(machine: MachineFile) -> None:
    report = _report(machine, pressure="10 kPa")
    assert report.margin == pytest.approx(1500 / 900)
    assert "holds with one strand gone" in "\n".join(lines(report))


def test_a_knot_too_weak_is_said_first(machine: MachineFile) -> None:
    report = _report(machine, pressure="10 kPa", knot_strength="190 lbf")
    assert report.margin == pytest.approx(845.2 / 900, abs=1e-3)
    assert next(lines(report)).startswith("Too weak")


def test_no_strength_is_taken_from_nowhere() -> None:
    report = _report(pressure="10 kPa", bale="1200 x 900 mm", strands=6)
    assert report.force == pytest.approx(900)
    assert report.margin is None
    assert "label" in report.missing[0]


def test_a_density_alone_gives_no_force(machine: MachineFile) -> None:
    report = _report(machine, density="190 kg/m3")
    assert report.force is None
    assert "two points" in report.missing[0]


def test_a_density_between_two_known_points_gives_a_pressure_between(machine: MachineFile) -> None:
    known = ("150 kg/m3 = 8 kPa", "190 kg/m3 = 14 kPa")
    assert _report(machine, known, density="150 kg/m3").pressure == pytest.approx(8)
    assert _report(machine, known, density="190 kg/m3").pressure == pytest.approx(14)
    middle = _report(machine, known, density="170 kg/m3").pressure
    assert middle is not None
    assert 8 < middle < 14


def test_a_wheat_straw_bale_weighs_what_its_density_says() -> None:
    # 116 kg/m3 in large square bales, 305.9 kg for 2.637 m3: Agricultural Sciences 3(2), 2012,
    # DOI 10.4236/as.2012.32020.
    report = _report(density="116 kg/m3", bale="1200 x 900 x 2441.67 mm", runnage="130 m/kg")
    assert report.mass == pytest.approx(305.9, abs=0.1)


def test_metres_and_balls_for_a_job(machine: MachineFile) -> None:
    report = _report(machine, bales=500)
    assert report.job is not None
    # Six strands around 2.4 x 0.9 m and 0.4 m each for the knots: 42 m a bale.
    assert report.job.metres == pytest.approx(21_000)
    assert report.job.kilograms == pytest.approx(21_000 / 130)
    assert report.job.balls == 17


@pytest.mark.parametrize("text", ["4 x 3 x 8 ft", "4x3x8ft", "4 ft x 36 in x 96 in"])
def test_sizes_in_feet(text: str) -> None:
    assert formulas.parse_sizes(text) == pytest.approx((1219.2, 914.4, 2438.4))


@pytest.mark.parametrize(
    ("given", "known", "says"),
    [
        ({}, (), "nothing to work with"),
        ({"runnage": "130"}, (), "has no unit"),
        ({"runnage": "0 tex"}, (), "must be more than 0"),
        ({"pressure": "10 N"}, (), "a pressure in kPa is wanted"),
        ({"bale": "1200 x 900"}, (), "has no unit"),
        (
            {"density": "190 kg/m3"},
            ("150 kg/m3", "160 kg/m3=3 kPa"),
            "write a density and its pressure",
        ),
        ({"density": "190 kg/m3"}, ("150 kg/m3=9 kPa", "160 kg/m3=3 kPa"), "must differ"),
    ],
)
def test_what_cannot_be_used_says_why(
    given: dict[str, str], known: tuple[str, ...], says: str
) -> None:
    with pytest.raises(InputError, match=says):
        _report(None, known, **given)


def test_the_report_fits_eighty_columns(machine: MachineFile) -> None:
    report = _report(
        machine,
        ("150 kg/m3 = 8 kPa", "190 kg/m3 = 14 kPa"),
        density="200 kg/m3",
        bales=500,
        runnage="130 m/kg",
    )
    assert max(len(line) for line in lines(report)) <= 80
