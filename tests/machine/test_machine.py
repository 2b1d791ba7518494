"""The machine file: the manual goes first, and every fault is told with its line."""

from pathlib import Path

import pytest

from diagnose.errors import InputError
from diagnose.knowledge.model import Knowledge
from diagnose.machine.grading import grade
from diagnose.machine.profile import MachineFile, read_machine, with_manual


def _read(tmp_path: Path, knowledge: Knowledge, text: str) -> MachineFile:
    path = tmp_path / "baler.yaml"
    path.write_text(text, encoding="utf-8")
    return read_machine(path, knowledge)


def test_the_machines_own_manual_goes_before_common_practice(
    knowledge: Knowledge, machine: MachineFile
) -> None:
    travel = with_manual(knowledge, machine).settings["travel"]
    assert (travel.nominal, travel.band) == (104, (102, 106))
    assert str(travel.band_basis) == "machine's manual: own manual, page 12"
    assert grade(knowledge.settings["travel"], 102.4, "mm", 0.1) == "low"
    assert grade(travel, 102.4, "mm", 0.3) == "in"


def test_what_the_manual_does_not_speak_of_stays_as_it_was(
    knowledge: Knowledge, machine: MachineFile
) -> None:
    assert with_manual(knowledge, machine).settings["height"] == knowledge.settings["height"]
    assert with_manual(knowledge, None) is knowledge


def test_a_manual_that_gives_no_band_keeps_the_width_and_its_basis(
    knowledge: Knowledge, tmp_path: Path
) -> None:
    text = 'name: A\nknotters: 6\ntolerances:\n  spring: {nominal: 1 1/4", reference: page 3}\n'
    spring = with_manual(knowledge, _read(tmp_path, knowledge, text)).settings["spring"]
    assert spring.nominal == pytest.approx(31.75)
    assert spring.band == pytest.approx((30.75, 32.75))
    assert spring.basis.kind == "manual"
    assert spring.band_basis.kind == "judgement"


def test_unknown_stays_unknown(knowledge: Knowledge, tmp_path: Path) -> None:
    bare = _read(tmp_path, knowledge, "name: A\nknotters: 4\n")
    assert bare.twine is None
    assert bare.bale is None
    assert bare.strand_count == 4
    assert bare.in_case().knotters == 4


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("name: A\nknotters: six\n", 2, "integer"),
        ("name: A\nknoters: 6\n", 2, "did you mean 'knotters'"),
        ("name: A\nknotters: 6\nadjusters:\n  hight: {thread: M8}\n", 4, "did you mean 'height'"),
        ("name: A\nknotters: 6\nadjusters:\n  height: {thread: M11}\n", 4, "no thread known"),
        ("name: A\nknotters: 6\nbale: {width: 1200, height: 9 m}\n", 3, "has no unit"),
        ("name: A\nknotters: 6\nbale: {width: 3 N, height: 9 m}\n", 3, "is a force"),
        ("name: A\nknotters: 6\nsprings:\n  spring: {material: tin}\n", 4, "no shear modulus"),
        ("name: A\nknotters: 6\nadjusters:\n  spring: {per_turn: 3 N}\n", 4, "is a force"),
        (
            "name: A\nknotters: 6\ntolerances:\n  spring: {nominal: 33 mm, band: [34 mm, 35 mm],"
            " reference: p}\n",
            4,
            "outside its band",
        ),
        ("name: A\nknotters: 6\ntolerances:\n  spring: {nominal: 33 mm}\n", 4, "'reference' is"),
        ("name: A\nname: B\nknotters: 6\n", 2, "stands twice"),
        ("name: A\nknotters: 6\nadjusters:\n  height: {tread: M8}\n", 4, "mean 'thread'"),
        ("name: A\nknotters: 6\ntwine: {label: x, runage: 1 tex}\n", 3, "mean 'runnage'"),
        ("- 1\n", 1, "is no machine file"),
    ],
)
def test_a_wrong_machine_file_is_told_by_line(
    tmp_path: Path, knowledge: Knowledge, text: str, line: int, says: str
) -> None:
    with pytest.raises(InputError) as error:
        _read(tmp_path, knowledge, text)
    assert says in str(error.value)
    assert f"baler.yaml:{line}: " in str(error.value)


def test_all_faults_are_told_at_once(tmp_path: Path, knowledge: Knowledge) -> None:
    with pytest.raises(InputError) as error:
        _read(tmp_path, knowledge, "name: A\nknotters: six\nbale: {width: x, height: 9 m}\n")
    assert len(str(error.value).splitlines()) == 2
