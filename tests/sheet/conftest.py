"""A small rule base of three settings, so that these tests hold whatever the real one says."""

from pathlib import Path
from typing import Any

import pytest

from diagnose.knowledge import load_rules
from diagnose.knowledge.model import Base, Cause, Check, Knowledge, Mechanism, Move, Setting, Setup
from diagnose.machine.profile import MachineFile, read_machine

COMMON: dict[str, Any] = {"basis": "common practice", "band_basis": "judgement"}
SPRING = Setting(
    name="length of the hook spring",
    part="hook",
    unit="mm",
    nominal=33,
    band=(32, 34),
    gauge=0.2,
    where="over the coils",
    more="the spring gets longer",
    less="the spring gets shorter",
    too_low="spring_tight",
    too_high="spring_weak",
    **COMMON,
)
HEIGHT = Setting(
    name="needle height",
    part="needle",
    unit="mm",
    nominal=8,
    band=(6, 10),
    gauge=0.5,
    where="above the retainer",
    more="the needle stands higher",
    less="the needle stands lower",
    too_low="needle_low",
    moves=["travel"],
    **COMMON,
)
TRAVEL = Setting(
    name="needle travel",
    part="needle",
    unit="mm",
    nominal=105,
    band=(103, 107),
    gauge=0.5,
    where="at the highest point",
    more="the needle goes further",
    less="the needle goes less far",
    too_low="needle_short",
    **COMMON,
)
BRAKE = Setting(
    name="pull at the twine brake",
    part="twine",
    unit="N",
    nominal=50,
    band=(40, 60),
    gauge=3,
    where="at the box",
    per="machine",
    more="the brake holds more",
    less="the brake holds less",
    **COMMON,
)


def _cause(name: str, mechanism: str) -> Cause:
    return Cause(
        name=name,
        part="needle",
        common="seldom",
        leads={mechanism: "usually"},
        why="it does",
        basis="judgement",
        mend="set it",
        trial="strand",
    )


def _check(setting: str, setup: str, minutes: float) -> Check:
    return Check(
        do="measure it",
        tool="rule",
        setup=setup,
        minutes=minutes,
        confirms={"needle_low": "seldom"},
        setting=setting,
        basis="judgement",
    )


@pytest.fixture
def knowledge() -> Knowledge:
    def setup(name: str, start: bool = False) -> Setup:
        return Setup(name=name, how="so", basis="judgement", start=start)

    return Knowledge(
        roles=load_rules().roles,
        codes={},
        base=Base(name="small", version="1", call_minutes=240, failure_rates={}, basis="judgement"),
        words={"usually": 0.751, "seldom": 0.102},
        standings={},
        sources={},
        cautions={},
        setups={"round": setup("walk round", True), "deck": setup("deck"), "up": setup("up")},
        moves={
            "one": Move(between=("round", "deck"), minutes=4, basis="judgement"),
            "two": Move(between=("deck", "up"), minutes=6, basis="judgement"),
        },
        mechanisms={
            "missed": Mechanism(name="the needle missed", story="so", basis="judgement"),
            "loose": Mechanism(name="the knot is loose", story="so", basis="judgement"),
        },
        signs={},
        settings={"travel": TRAVEL, "height": HEIGHT, "spring": SPRING, "brake": BRAKE},
        causes={
            "needle_low": _cause("needle too low", "missed"),
            "needle_short": _cause("needle travel too short", "missed"),
            "spring_tight": _cause("hook spring too tight", "loose"),
            "spring_weak": _cause("hook spring too weak", "loose"),
        },
        checks={
            "spring_check": _check("spring", "deck", 3),
            "height_check": _check("height", "up", 4),
            "travel_check": _check("travel", "up", 4),
            "brake_check": _check("brake", "round", 2),
        },
        shows={},
        means={},
    )


MACHINE = """\
name: Trial baler
knotters: 6
bale: {width: 1200 mm, height: 900 mm, length: 2400 mm}
tolerances:
  travel: {nominal: 104 mm, band: [102 mm, 106 mm], reference: "own manual, page 12"}
adjusters:
  spring: {thread: M10, direct: yes}
  height: {thread: M16, arms: {adjuster: 60 mm, measured: 720 mm}}
springs:
  spring: {wire: 5 mm, mean_diameter: 30 mm, active_coils: 8, modulus: 79.3 GPa, free_length: 60 mm}
twine: {label: "invented blue", runnage: 130 m/kg, knot_strength: 1500 N, ball: 10 kg}
"""


@pytest.fixture
def machine(tmp_path: Path, knowledge: Knowledge) -> MachineFile:
    path = tmp_path / "machine.yaml"
    path.write_text(MACHINE, encoding="utf-8")
    return read_machine(path, knowledge)
