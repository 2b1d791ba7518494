"""The commands as a technician runs them, on the demo's own sheets."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diagnose.cli.main import cli
from diagnose.errors import InputError
from diagnose.knowledge.load import load_rules
from diagnose.machine.profile import read_machine
from diagnose.sheet.read import read_sheet

DEMO = Path(__file__).parents[2] / "casebook_demo"
BALER_C = str(DEMO / "machines/baler_c.yaml")
APRIL = str(DEMO / "sheets/baler_c_2026-04-14.csv")
JULY = str(DEMO / "sheets/baler_c_2026-07-06.csv")
STRIKE = str(DEMO / "sheets/baler_c_2026-07-22.yaml")


def _run(*words: str) -> tuple[int, str]:
    """Exit code and output of `diagnose WORDS`."""
    result: Result = CliRunner().invoke(cli, list(words), standalone_mode=False)
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return int(result.return_value or 0), result.output


def test_the_sheet_before_the_season_has_two_wrong_and_one_on_the_limit() -> None:
    code, output = _run("sheet", APRIL, "--machine", BALER_C, "--json")
    data = json.loads(output)
    assert code == 1
    assert data["to_set"] == [
        {"setting": "twine_brake", "knotter": 5},
        {"setting": "hook_clamp_spring", "knotter": 2},
    ]
    assert data["on_limit"] == [{"setting": "retainer_spring", "knotter": 6}]
    (spring,) = [
        c for c in data["cells"] if (c["setting"], c["knotter"]) == ("hook_clamp_spring", 2)
    ]
    # 37 mm less 34.6 mm is 2.4 mm; M10 has a pitch of 1.5 mm: 1.6 turns.
    assert spring["turns"] == pytest.approx(1.6)
    assert spring["cause"] == "clamp_spring_tight"


def test_the_later_sheet_has_one_setting_that_drifts() -> None:
    code, output = _run("sheet", JULY, "--machine", BALER_C, "--before", APRIL, "--json")
    drift = json.loads(output)["drift"]
    assert code == 0
    worn = [d for d in drift if d["per_thousand_bales"]]
    assert [(d["setting"], d["knotter"]) for d in worn] == [("retainer spring, length", 3)]
    # 31.6 to 32.1 mm in 3,450 bales; 0.4 mm are left to 32.5.
    assert worn[0]["per_thousand_bales"] == pytest.approx(0.5 / 3.45)
    assert sum(d["set_between"] for d in drift) == 3


def test_after_the_needle_strike_knotter_four_is_short() -> None:
    code, output = _run("sheet", STRIKE, "--machine", BALER_C)
    assert code == 1
    assert "1. needle travel past the retainer, knotter 4: 107.5 mm, low" in output
    assert "knotter 4 is" in output


@pytest.mark.parametrize("words", [(APRIL,), (APRIL, "--inches"), (JULY, "--before", APRIL)])
def test_every_line_fits_eighty_columns(words: tuple[str, ...]) -> None:
    _, output = _run("sheet", *words, "--machine", BALER_C)
    assert max(len(line) for line in output.splitlines()) <= 80


def test_making_safe_comes_before_the_first_thing_to_set() -> None:
    _, output = _run("sheet", APRIL, "--machine", BALER_C)
    assert output.index("Stop the engine") < output.index("To set, in this order")


def test_without_a_machine_file_the_common_tolerances_are_used() -> None:
    _, output = _run("sheet", APRIL)
    assert "machine's manual" not in output
    assert "read the adjuster's thread" in output.replace("\n     ", " ")


def test_a_blank_sheet_reads_back_with_every_cell_not_measured(tmp_path: Path) -> None:
    code, output = _run("sheet", "--blank", BALER_C)
    path = tmp_path / "blank.csv"
    path.write_text(output, encoding="utf-8")
    knowledge = load_rules()
    sheet = read_sheet(path, knowledge, read_machine(Path(BALER_C), knowledge))
    assert code == 0
    assert sheet.entries == ()
    rows = [line.split(",") for line in output.splitlines()[4:]]
    assert {row[1] for row in rows} == set(knowledge.settings)
    assert sum(row[1] == "needle_travel" for row in rows) == 6


def test_the_page_for_the_clipboard_is_one_file_that_asks_no_network(tmp_path: Path) -> None:
    page = tmp_path / "sheet.html"
    code, _ = _run("sheet", "--blank", BALER_C, "--page", str(page))
    html = page.read_text(encoding="utf-8")
    assert code == 0
    assert not re.search(r"https?:|src=|@import|url\(|<link|<script", html)
    assert "size: A4" in html
    assert html.index("Stop the engine") < html.index("hook clamp spring")
    assert "112.5 to 115.5 mm" in html


def test_names_in_a_machine_file_cannot_break_the_page(tmp_path: Path) -> None:
    machine = tmp_path / "m.yaml"
    machine.write_text("name: <script>x</script>\nknotters: 4\n", encoding="utf-8")
    page = tmp_path / "sheet.html"
    _run("sheet", "--blank", str(machine), "--page", str(page))
    assert "<script>" not in page.read_text(encoding="utf-8")


def test_a_slip_is_asked_back_and_the_exit_code_tells(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text("knotter,setting,value,unit\n1,needle_travel,10.5,mm\n", encoding="utf-8")
    code, output = _run("sheet", str(path))
    assert code == 1
    assert "Is 105 mm meant" in output.replace("\n    ", " ")
    path.write_text("knotter,setting,value,unit\n1,needle_travel,10.5!,mm\n", encoding="utf-8")
    _, output = _run("sheet", str(path))
    assert "asked back." in output.splitlines()[1] + output.splitlines()[2]
    assert "needle travel past the retainer, knotter 1: 10.5 mm, low" in output


def test_a_missing_sheet_and_a_folder_that_is_not_there_are_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        _run("sheet", str(tmp_path / "none.csv"))
    with pytest.raises(Exception, match="cannot be written"):
        _run("sheet", "--blank", BALER_C, "--page", str(tmp_path / "no" / "page.html"))


def test_twine_for_a_job_of_the_demo_machine() -> None:
    code, output = _run("twine", "--machine", BALER_C, "--pressure", "10 kPa", "--bales", "500")
    assert code == 0
    assert "900 N (202 lbf) on each of 6" in output
    assert "17 balls of 10 kg" in output
    code, _ = _run("twine", "--machine", BALER_C, "--pressure", "20 kPa")
    assert code == 1


def test_a_needle_to_be_set_at_its_foot_carries_the_cautions_of_its_foot() -> None:
    """Setting is done elsewhere than measuring: under the chamber, with a bar at a bolt."""
    _, output = _run("sheet", STRIKE, "--machine", BALER_C)
    said = " ".join(output.split())
    for caution in ("needle_foot", "crush_under_chamber", "needle_energy"):
        first = load_rules().cautions[caution].first
        assert " ".join(first.split()) in said
