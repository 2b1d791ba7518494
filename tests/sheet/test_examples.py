"""One machine's figures are not everybody's: what the rules call an example is said to be one."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from diagnose.case import Case, MadeSafe, Reading
from diagnose.cli.main import cli
from diagnose.knowledge.load import load_rules
from diagnose.knowledge.model import Knowledge
from diagnose.log.reason import action_of
from diagnose.machine.profile import MachineFile, read_machine, with_manual
from diagnose.machine.tolerance import NOT_KNOWN
from diagnose.rulebook.pages import item_data, page_lines
from diagnose.say import lines
from diagnose.session import Reasoner, Step, diagnose
from diagnose.sheet.blank import blank_page
from diagnose.train.deal import Deal, Fault
from diagnose.train.story import story_lines
from diagnose.views.record import record_view
from diagnose.views.setting import setting_part, tolerance
from diagnose.views.step import step_view

RULES = load_rules()
BALER_C_PATH = Path(__file__).parents[2] / "casebook_demo/machines/baler_c.yaml"
BALER_C = read_machine(BALER_C_PATH, RULES)
EXAMPLES = [name for name, setting in RULES.settings.items() if setting.example]
SAME_EVERYWHERE = {"drive_play", "frame_play", "trip_rod_wear", "trip_wheel_wear"}
"""Wear and play: none of it is right on any machine."""


@pytest.fixture(scope="module")
def by_manual(reasoner: Reasoner) -> Reasoner:
    return Reasoner(with_manual(reasoner.base, BALER_C))


def _one_line(lines: list[str]) -> str:
    return " ".join(" ".join(lines).split())


def _checks(base: Knowledge, setting: str) -> Iterator[Step]:
    """The checks that measure a setting."""
    for name, check in base.checks.items():
        if check.setting == setting:
            yield Step("check", name, setup=check.setup, setting=setting)


def _step_text(base: Knowledge, step: Step) -> str:
    return _one_line(lines(step_view(base, step).blocks()))


def example_of(base: Knowledge, step: Step) -> bool:
    """What a step's data say of its tolerance."""
    told = step_view(base, step).model_dump(mode="json", exclude_none=True)["tolerance"]
    return bool(told["example"])


def _mend_text(base: Knowledge, setting: str) -> str:
    """The mend of what a wrong reading confirms."""
    body = base.settings[setting]
    step = Step("mend", str(body.too_high or body.too_low), setting=setting)
    return _one_line(lines(step_view(base, step, Case(id="test")).blocks()))


def test_all_but_wear_and_play_differs_from_machine_to_machine() -> None:
    assert set(RULES.settings) - set(EXAMPLES) == SAME_EVERYWHERE


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_step_says_that_its_tolerance_is_an_example(name: str) -> None:
    steps = list(_checks(RULES, name))
    assert steps
    for text in (*(_step_text(RULES, step) for step in steps), _mend_text(RULES, name)):
        assert f"{NOT_KNOWN} Example: " in text
        assert "Right is: " not in text
    assert all(example_of(RULES, step) for step in steps)


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_rulebook_says_so_too(name: str) -> None:
    assert f"{NOT_KNOWN} Example: " in _one_line(page_lines(RULES, name))
    assert item_data(RULES, name)["example"] is True


@pytest.mark.parametrize("name", BALER_C.tolerances)
def test_a_machine_file_puts_its_manuals_figure_and_reference_in_place(name: str) -> None:
    base = with_manual(RULES, BALER_C)
    assert not base.settings[name].example
    assert f"machine's manual: {BALER_C.tolerances[name].reference}" in _mend_text(base, name)
    for step in _checks(base, name):
        text = _step_text(base, step)
        assert NOT_KNOWN not in text
        assert str(tolerance(setting_part(base, name))) in text
        assert example_of(base, step) is False


def test_a_manual_that_gives_no_band_is_no_example_either() -> None:
    tolerance = {"nominal": "40 mm", "reference": "page 1"}
    machine = MachineFile.model_validate(
        {"name": "A", "knotters": 6, "tolerances": {"needle_height": tolerance}}
    )
    assert not with_manual(RULES, machine).settings["needle_height"].example


def _record(reasoner: Reasoner) -> str:
    readings = [
        Reading(setting=name, value=setting.nominal, unit=setting.unit,
                knotter=1 if setting.per == "knotter" else None)
        for name, setting in reasoner.base.settings.items()
    ]  # fmt: skip
    case = Case(id="test", machine=BALER_C.in_case(), events=(MadeSafe(), *readings))
    return _one_line(lines(record_view(reasoner.base, diagnose(reasoner, case)).happened()))


def test_the_record_says_it_of_each_reading(reasoner: Reasoner, by_manual: Reasoner) -> None:
    assert _record(reasoner).count(f"{NOT_KNOWN} Example: ") == len(EXAMPLES)
    own = _record(by_manual)
    assert NOT_KNOWN not in own
    for given in BALER_C.tolerances.values():
        assert given.reference in own


def _sheet(tmp_path: Path, *words: str) -> str:
    """The report on a sheet whose every reading lies far above the rules' figures."""
    rows = [
        f"{1 if body.per == 'knotter' else ''},{name},{2.5 * body.band[1]:g}!,{body.unit}"
        for name, body in RULES.settings.items()
    ]
    path = tmp_path / "s.csv"
    path.write_text("\n".join(["knotter,setting,value,unit", *rows]), encoding="utf-8")
    return CliRunner().invoke(cli, ["sheet", str(path), *words]).output


def test_the_sheet_says_it_in_its_text(tmp_path: Path) -> None:
    text = _sheet(tmp_path)
    assert max(map(len, text.splitlines())) <= 80
    for name in EXAMPLES:
        assert f"{RULES.settings[name].name}: {NOT_KNOWN} Example: " in _one_line([text])
    own = _one_line([_sheet(tmp_path, "--machine", str(BALER_C_PATH))])
    assert NOT_KNOWN not in own
    to_set = own.split("To set, in this order")[1].split("All readings")[0]
    assert f"machine's manual: {BALER_C.tolerances['needle_travel'].reference}" in to_set


def test_the_sheet_says_it_in_its_data(tmp_path: Path) -> None:
    common = json.loads(_sheet(tmp_path, "--json"))["cells"]
    measured = {c["setting"]: c["example"] for c in common if c["grade"] != "not measured"}
    assert measured == {name: name in EXAMPLES for name in RULES.settings}
    own = json.loads(_sheet(tmp_path, "--json", "--machine", str(BALER_C_PATH)))["cells"]
    assert not any(c["example"] for c in own if c["grade"] != "not measured")


def test_the_blank_sheet_says_it() -> None:
    plain = MachineFile(name="A", knotters=6)
    assert blank_page(RULES, plain).count(f"{NOT_KNOWN} Example:") == len(EXAMPLES)
    assert NOT_KNOWN not in blank_page(RULES, BALER_C)


@pytest.mark.parametrize("mine", [False, True])
def test_the_drill_says_it_in_the_story_of_a_case(
    reasoner: Reasoner, by_manual: Reasoner, mine: bool
) -> None:
    case = Deal("7", (Fault("clamp_spring_weak", "not_held"),))
    told = _one_line(story_lines((by_manual if mine else reasoner).tables, case, 0))
    assert (f"{NOT_KNOWN} Example: 33.0 mm" in told) is not mine
    assert ("own manual, knotters, page 18" in told) is mine


def test_the_next_check_of_a_log_says_it(reasoner: Reasoner, by_manual: Reasoner) -> None:
    action = action_of(reasoner, "measure_clamp_spring")
    assert action.tolerance == f"{NOT_KNOWN} Example: 33 mm (32 to 34)"
    own = action_of(by_manual, "measure_clamp_spring")
    assert own.tolerance == "37 mm (36 to 38)"
    assert "own manual, knotters, page 18" in own.basis


def test_no_words_of_the_rules_repeat_an_examples_figure() -> None:
    """The manual may give another, and the words would stay."""
    words = [
        *(cause.mend + cause.why for cause in RULES.causes.values()),
        *(check.do for check in RULES.checks.values()),
        *(sign.look for sign in RULES.signs.values()),
        *((setting.note or "") + setting.where for setting in RULES.settings.values()),
    ]
    assert [text for text in words if re.search(r"\d\s*(mm|N|degrees?)\b|\babout \d", text)] == []
