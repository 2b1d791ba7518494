"""The demo's machines have figures of their own, and its sheets and cases follow them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from diagnose.case import Case, Mended, Reading
from diagnose.casebook.exchange import read_parcel
from diagnose.knowledge.load import load_rules
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.yaml_file import read_yaml
from diagnose.machine.grading import POSSIBLE, Grade, grade
from diagnose.machine.profile import MachineFile, read_machine, with_manual
from diagnose.machine.units import parse_quantity
from diagnose.sheet.read import read_sheet

DEMO = Path(__file__).parents[2] / "casebook_demo"
RULES = load_rules()
MACHINES = {
    path.stem: read_machine(path, RULES) for path in sorted((DEMO / "machines").glob("*.yaml"))
}
SHEETS = sorted((DEMO / "sheets").iterdir())
GIVEN = [(baler, name) for baler, machine in MACHINES.items() for name in machine.tolerances]
OWN = {baler: with_manual(RULES, machine) for baler, machine in MACHINES.items()}


def _figures(base: Knowledge, name: str) -> set[float]:
    setting = base.settings[name]
    return {round(figure, 1) for figure in (setting.nominal, *setting.band)}


def _cases() -> Iterator[tuple[Knowledge, Case]]:
    for baler, base in OWN.items():
        for case in read_parcel(DEMO / "cases" / f"{baler}.jsonl").cases:
            yield base, case


def _grades(base: Knowledge, setting: str, value: float, unit: str | None) -> tuple[Grade, ...]:
    assert unit is not None
    return POSSIBLE[grade(base.settings[setting], value, unit)]


@pytest.mark.parametrize(("baler", "name"), GIVEN)
def test_no_figure_of_a_demo_machine_is_the_rules_example(baler: str, name: str) -> None:
    if RULES.settings[name].example:
        assert not _figures(OWN[baler], name) & _figures(RULES, name)
    else:
        assert OWN[baler].settings[name].band != RULES.settings[name].band


def test_baler_c_gives_every_setting_that_its_sheets_measure() -> None:
    machine = MACHINES["baler_c"]
    for path in SHEETS:
        measured = {entry.reading.setting for entry in read_sheet(path, RULES, machine).entries}
        assert measured <= set(machine.tolerances)


def test_most_of_what_baler_c_measured_in_july_would_be_wrong_by_the_example() -> None:
    machine, own = MACHINES["baler_c"], OWN["baler_c"]
    entries = read_sheet(DEMO / "sheets/baler_c_2026-07-06.csv", RULES, machine).entries
    readings = [e.reading for e in entries if RULES.settings[e.reading.setting].example]
    for reading in readings:
        assert _graded(own, reading) == ("in",)
    wrong = [r for r in readings if "in" not in _graded(RULES, r)]
    assert len(wrong) > len(readings) / 2


def _graded(base: Knowledge, reading: Reading) -> tuple[Grade, ...]:
    found = grade(base.settings[reading.setting], reading.value, reading.unit, reading.uncertainty)
    return POSSIBLE[found]


def test_the_cases_were_out_before_and_are_in_after_by_each_machines_own_figures() -> None:
    mended = [
        (base, event)
        for base, case in _cases()
        for event in case.events
        if isinstance(event, Mended) and event.setting and event.after is not None
    ]
    assert len(mended) > 15
    for base, event in mended:
        name = str(event.setting)
        setting = base.settings[name]
        sides = {"low": setting.too_low, "high": setting.too_high}
        if event.before is not None:
            before = _grades(base, name, event.before, event.unit)
            assert any(sides.get(side) == event.cause for side in before), event
        assert event.after is not None
        assert _grades(base, name, event.after, event.unit) == ("in",), event


@pytest.mark.parametrize(
    "path", sorted((DEMO / "bales").glob("*.truth.yaml")), ids=lambda p: p.stem
)
def test_a_walked_bale_reads_wrong_by_its_own_machine(path: Path) -> None:
    truth = read_yaml(path).data
    base = OWN[Path(truth["machine"]).stem]
    for name, readings in truth.get("readings", {}).items():
        for text in readings.values():
            (side,) = _grades(base, name, *parse_quantity(str(text)))
            setting = base.settings[name]
            assert {"low": setting.too_low, "high": setting.too_high}[side] in truth["faults"]


def test_what_the_demos_readme_says_of_the_short_needle_is_on_the_sheet() -> None:
    readme = " ".join((DEMO / "README.md").read_text(encoding="utf-8").split())
    said = re.search(
        r"travel at ([\d.]+) mm where its neighbours have the (\d+) mm of the machine's manual; "
        r"by the rules' example, (\d+) mm,",
        readme,
    )
    assert said is not None
    found, manual, example = map(float, said.groups())
    readings = _travels(MACHINES["baler_c"])
    assert readings.pop(4) == found
    assert all(abs(value - manual) < 0.5 for value in readings.values())
    assert OWN["baler_c"].settings["needle_travel"].nominal == manual
    assert RULES.settings["needle_travel"].nominal == example
    assert "low" not in _grades(RULES, "needle_travel", found, "mm")


def _travels(machine: MachineFile) -> dict[int | None, float]:
    sheet = read_sheet(DEMO / "sheets/baler_c_2026-07-22.yaml", RULES, machine)
    readings = [entry.reading for entry in sheet.entries]
    return {r.knotter: r.value for r in readings if r.setting == "needle_travel"}


def test_what_the_demos_readme_says_of_the_worn_rod_is_in_its_case() -> None:
    assert "measured: 2.4 mm (`tgc-2026-43`" in (DEMO / "README.md").read_text(encoding="utf-8")
    (case,) = [case for _, case in _cases() if case.id == "tgc-2026-43"]
    assert [e.value for e in case.events if isinstance(e, Reading)] == [2.4]
