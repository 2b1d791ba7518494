"""Sheets as people fill them: any order, half filled, wrong here and there."""

from pathlib import Path

import pytest

from diagnose.errors import InputError
from diagnose.knowledge.model import Knowledge
from diagnose.machine.profile import MachineFile
from diagnose.sheet.model import Sheet
from diagnose.sheet.read import read_sheet
from diagnose.sheet.slips import slips

HEADER = "knotter,setting,value,unit\n"


def _sheet(tmp_path: Path, knowledge: Knowledge, text: str, name: str = "s.csv") -> Sheet:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_sheet(path, knowledge)


def _values(sheet: Sheet) -> dict[tuple[str, int | None], tuple[float, str]]:
    return {entry.key: (entry.reading.value, entry.reading.unit) for entry in sheet.entries}


SAME = {("spring", 1): (33.5, "mm"), ("spring", 2): (4.125, "in"), ("brake", None): (48, "N")}


@pytest.mark.parametrize(
    "text",
    [
        HEADER + '1,spring,33.5,mm\n2,spring,"4 1/8""",\n,brake,48,N\n',
        "unit;value;setting;knotter;note\nmm;33,5;spring;1;x\nin;4 1/8;spring;2;\nN;48;brake;;\n",
        "Setting\tKnotter\tValue\tUnit\nlength of the hook spring\t1\t33,5\tmm\n"
        "spring\t2\t4-1/8\tinch\nbrake\t-\t48 N\t\n",
    ],
)
def test_the_same_sheet_in_three_hands_reads_the_same(
    tmp_path: Path, knowledge: Knowledge, text: str
) -> None:
    assert _values(_sheet(tmp_path, knowledge, text)) == SAME


def test_yaml_and_json_read_like_csv(tmp_path: Path, knowledge: Knowledge) -> None:
    yaml = (
        "date: 2026-04-14\nbales: 41 200\nreadings:\n"
        "  - {setting: spring, knotter: 1, value: 33.5 mm}\n"
        "  - {setting: spring, knotter: 2, value: 4 1/8, unit: in}\n"
        "  - {setting: brake, value: 48, unit: N}\n  - {setting: travel, knotter: 2, value: }\n"
    )
    sheet = _sheet(tmp_path, knowledge, yaml, "s.yaml")
    assert _values(sheet) == SAME
    assert (str(sheet.date), sheet.bales) == ("2026-04-14", 41200)
    json = '{"readings": [{"setting": "spring", "knotter": 1, "value": "33.5 mm"}]}'
    assert _values(_sheet(tmp_path, knowledge, json, "s.json")) == {("spring", 1): (33.5, "mm")}


def test_blank_cells_are_not_measured(tmp_path: Path, knowledge: Knowledge) -> None:
    text = HEADER + "1,spring,,mm\n2,spring,-,mm\n3,spring,n/a,mm\n,,,\n\n4,spring,33,mm\n"
    assert list(_values(_sheet(tmp_path, knowledge, text))) == [("spring", 4)]


def test_head_lines_survive_a_spreadsheet(tmp_path: Path, knowledge: Knowledge) -> None:
    text = "# machine: Baler X;;;\n# date: 2026-04-14;;;\n# bales: 41 200;;;\n" + HEADER.replace(
        ",", ";"
    )
    sheet = _sheet(tmp_path, knowledge, text)
    assert (sheet.machine, str(sheet.date), sheet.bales) == ("Baler X", "2026-04-14", 41200)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_what_office_programs_save_is_read(
    tmp_path: Path, knowledge: Knowledge, encoding: str
) -> None:
    path = tmp_path / "s.csv"
    path.write_bytes((HEADER + "1,spring,1½,in\n").encode(encoding))
    assert read_sheet(path, knowledge).entries[0].reading.value == 1.5


def test_an_uncertainty_is_kept_in_the_readings_unit(tmp_path: Path, knowledge: Knowledge) -> None:
    text = 'knotter,setting,value,unit,uncertainty\n1,spring,1.3,in,0.5 mm\n2,spring,33,mm,"0,2"\n'
    first, second = _sheet(tmp_path, knowledge, text).readings
    assert first.uncertainty == pytest.approx(0.5 / 25.4)
    assert second.uncertainty == 0.2


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("1,sprig,33,mm", "there is no setting 'sprig', did you mean 'spring'?"),
        ("x,spring,33,mm", "'x' is no knotter"),
        ("9,spring,33,mm", "knotter 9, but this machine has 6"),
        (",spring,33,mm", "which knotter?"),
        ("1,brake,48,N", "one for the whole machine"),
        ("1,spring,33,N", "a length in mm is wanted"),
        ("1,spring,33,", "has no unit"),
        ("1,spring,ok,mm", "'ok' is no number"),
        ("1,spring,33,5,mm", "a decimal comma needs quotes"),
        ('1,spring,"1,234",mm', "may mean 1.234 or 1234"),
    ],
)
def test_a_wrong_cell_is_told_by_line(
    tmp_path: Path, knowledge: Knowledge, row: str, says: str
) -> None:
    with pytest.raises(InputError) as error:
        _sheet(tmp_path, knowledge, "# knotters: 6\n" + HEADER + f"2,spring,33,mm\n{row}\n")
    assert says in str(error.value)
    assert "s.csv:4: " in str(error.value)


def test_all_faults_are_told_at_once(tmp_path: Path, knowledge: Knowledge) -> None:
    with pytest.raises(InputError) as error:
        _sheet(tmp_path, knowledge, HEADER + "1,spring,ok,mm\n1,sprig,3,mm\n1,spring,33,mm\n")
    assert len(str(error.value).splitlines()) == 2


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no header line"),
        ("knotter,setting,value\n", "no column 'unit'"),
        ("knotter,setting,value,unit,unit\n", "stands twice"),
        ("knotter,setting,valeu,unit\n", "did you mean 'value'"),
        (HEADER + "1,spring,33,mm\n1,spring,34,mm\n", "stands twice, first on line 2"),
        ("# date: 14.4.2026\n" + HEADER, "is no date"),
        ("# bales: many\n" + HEADER, "is no likely count"),
        ("# knotters: 60\n" + HEADER, "is no likely count"),
        (HEADER + "99999999,spring,33,mm\n", "12 at most"),
    ],
)
def test_a_sheet_that_cannot_be_used_says_why(
    tmp_path: Path, knowledge: Knowledge, text: str, says: str
) -> None:
    with pytest.raises(InputError, match=says):
        _sheet(tmp_path, knowledge, text)


def test_a_missing_file_and_a_picture_are_told(tmp_path: Path, knowledge: Knowledge) -> None:
    with pytest.raises(InputError, match="No such file"):
        read_sheet(tmp_path / "none.csv", knowledge)
    (tmp_path / "picture.csv").write_bytes(b"\x89PNG\0\0\xff")
    with pytest.raises(InputError, match="is no text"):
        read_sheet(tmp_path / "picture.csv", knowledge)


def test_a_sheet_of_another_machine_is_refused(
    tmp_path: Path, knowledge: Knowledge, machine: MachineFile
) -> None:
    path = tmp_path / "s.csv"
    path.write_text("# machine: Baler B\n" + HEADER, encoding="utf-8")
    with pytest.raises(InputError, match="a sheet of 'Baler B', the machine file is of 'Trial"):
        read_sheet(path, knowledge, machine)


@pytest.mark.parametrize(
    ("written", "meant", "why"),
    [
        ("1,travel,10.5,mm", 105, "decimal point"),
        ("1,travel,1050,mm", 105, "decimal point"),
        ("1,travel,9.85,mm", 98.5, "decimal point"),
        ("1,travel,4.13,mm", 104.9, "in for mm"),
        (",brake,11,N", 48.93, "lbf for N"),
        (",brake,5,N", 50, "decimal point"),
        ("1,spring,3.3,mm", 33, "decimal point"),
    ],
)
def test_a_likely_slip_is_asked_back_and_never_corrected(
    tmp_path: Path, knowledge: Knowledge, written: str, meant: float, why: str
) -> None:
    sheet = _sheet(tmp_path, knowledge, HEADER + written + "\n")
    (slip,) = slips(sheet, knowledge)
    assert slip.meant == pytest.approx(meant, abs=0.01)
    assert slip.why == why
    assert f"{sheet.entries[0].reading.value:g}" in written


@pytest.mark.parametrize(
    "written", ["1,travel,98,mm", "1,travel,10.5!,mm", "1,spring,4.13,in", ",brake,14,N"]
)
def test_a_plain_fault_and_a_value_marked_as_meant_are_not_asked_back(
    tmp_path: Path, knowledge: Knowledge, written: str
) -> None:
    assert slips(_sheet(tmp_path, knowledge, HEADER + written + "\n"), knowledge) == []
