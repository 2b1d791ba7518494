"""How far to turn: from a reading to movement, turns and flats of its adjuster.

The hand of a thread is not known, so a move is always said by its effect ("the spring
gets longer"). What a machine file does not say is left out, with what to measure for it.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.case import Reading
from diagnose.knowledge.model import Setting
from diagnose.machine.grading import POSSIBLE, GradeOrLimit, grade
from diagnose.machine.profile import Adjuster, MachineFile, Spring
from diagnose.machine.threads import Turns, turns_for
from diagnose.machine.units import convert, shown

QUARTER = 0.25


@dataclass(frozen=True)
class Adjustment:
    """One reading graded, and what brings it to its nominal. All in the setting's unit."""

    setting: Setting
    value: float
    grade: GradeOrLimit
    move: float
    """From the reading to the nominal, signed."""
    per_turn: float | None = None
    """Movement of the place measured for one turn of the adjuster."""
    ratio: float | None = None
    """Lever: movement at the place measured for each mm at the adjuster."""
    turns: Turns | None = None
    force: tuple[float, float] | None = None
    """Spring force in N at the reading and at the nominal."""
    to_measure: tuple[str, ...] = ()
    """What is left out, and what to measure to get it; one line each."""

    @property
    def wanted(self) -> bool:
        """Out of its band for certain: to be set."""
        return "in" not in POSSIBLE[self.grade]

    @property
    def on_limit(self) -> bool:
        """Too near a limit for the instrument used: to be measured again first."""
        return len(POSSIBLE[self.grade]) > 1

    @property
    def past(self) -> float:
        """How far it is past its limit; 0 inside."""
        low, high = self.setting.band
        return max(0.0, low - self.value, self.value - high)

    @property
    def effect(self) -> str:
        """What is seen while it is moved the right way."""
        return self.setting.more if self.move > 0 else self.setting.less

    @property
    def left_over(self) -> float | None:
        """What stays between reading and nominal once the turns, as worded, are made."""
        if self.turns is None or self.per_turn is None:
            return None
        return self.move - self.turns.rounded * self.per_turn


def adjustment(setting: Setting, reading: Reading, machine: MachineFile | None) -> Adjustment:
    """Grade `reading` and compute its way to nominal, as far as `machine` allows.

    Raises InputError where the reading's unit measures something else than the setting.
    """
    value = convert(reading.value, reading.unit, setting.unit)
    move = setting.nominal - value
    adjuster = machine.adjusters.get(reading.setting) if machine else None
    spring = machine.springs.get(reading.setting) if machine else None
    per_turn = _per_turn(setting, adjuster, spring)
    return Adjustment(
        setting=setting,
        value=value,
        grade=grade(setting, reading.value, reading.unit, reading.uncertainty),
        move=move,
        per_turn=per_turn,
        ratio=adjuster.ratio if adjuster else None,
        turns=turns_for(move, per_turn, adjuster.flats) if adjuster and per_turn else None,
        force=_forces(setting, spring, value),
        to_measure=(
            *_missing_turns(setting, reading.setting, adjuster, spring),
            *_missing_force(setting, reading.setting, spring),
        ),
    )


def _per_turn(setting: Setting, adjuster: Adjuster | None, spring: Spring | None) -> float | None:
    if adjuster is None:
        return None
    if adjuster.per_turn:
        return convert(*adjuster.per_turn, to=setting.unit)
    travel = adjuster.travel_per_turn
    if travel is None or setting.unit == "mm":
        return travel
    if setting.unit == "N" and spring and spring.rate:
        return travel * spring.rate
    return None


def _forces(setting: Setting, spring: Spring | None, value: float) -> tuple[float, float] | None:
    if setting.unit != "mm" or spring is None:
        return None
    now, nominal = spring.force(value), spring.force(setting.nominal)
    return None if now is None or nominal is None else (now, nominal)


def _missing_turns(
    setting: Setting, name: str, adjuster: Adjuster | None, spring: Spring | None
) -> list[str]:
    if not setting.adjuster:
        return []
    where = f"adjusters: {name}:"
    if adjuster is None or (adjuster.thread is None and adjuster.per_turn is None):
        return [f"turns not known: read the adjuster's thread, or measure ten -> {where} thread"]
    if adjuster.per_turn:
        return []
    if setting.unit == "deg":
        return [f"turns not known: turn once, measure the degrees -> {where} per_turn"]
    if adjuster.ratio is None:
        return [
            "turns not known: measure from the pivot to the adjuster and to the place "
            f"measured -> {where} arms; or, where there is no lever, direct: yes"
        ]
    if setting.unit == "N" and (spring is None or spring.rate is None):
        return [f"turns not known: turn once, measure the force again -> {where} per_turn"]
    return []


def _missing_force(setting: Setting, name: str, spring: Spring | None) -> list[str]:
    if setting.unit != "mm" or "spring" not in setting.name.lower():
        return []
    spring = spring or Spring()
    needs = {
        "wire thickness": spring.wire,
        "outside diameter": spring.coil_diameter,
        "active coils": spring.active_coils,
        "free length": spring.free_length,
        "wire material": spring.shear_modulus,
    }
    missing = [what for what, known in needs.items() if known is None]
    if "wire thickness" in missing and spring.outside_diameter:
        missing.remove("outside diameter")
    if not missing:
        return []
    return [f"spring force not known: {', '.join(missing)} -> springs: {name}:"]


def move_lines(found: Adjustment, *, inches: bool = False) -> list[str]:
    """What to do about one reading, most useful line first; empty when it is to be left."""
    unit = found.setting.unit
    if not found.wanted and not found.on_limit:
        return []
    lines = []
    if found.on_limit:
        lines.append("On the limit: measure again with a finer gauge before you touch anything.")
    if not found.setting.adjuster:
        if found.wanted:
            lines.append(f"{shown(found.past, unit, inches=inches)} past its limit.")
        return lines
    amount = shown(abs(found.move), unit, inches=inches)
    how = f": {found.turns}" if found.turns else ""
    start = "If it must move: change it" if found.on_limit else "Change it"
    lines.append(f"{start} by {amount}{how}, so that {found.effect}.")
    lines += _lever_lines(found, inches=inches)
    if found.force:
        now, nominal = (shown(force, "N", inches=inches) for force in found.force)
        lines.append(f"Spring force {now} now, {nominal} when set.")
    return lines + [f"({line})" for line in found.to_measure]


def _lever_lines(found: Adjustment, *, inches: bool) -> list[str]:
    """A warning where a small turn makes a large movement."""
    if found.per_turn is None:
        return []
    quarter = found.per_turn * QUARTER
    low, high = found.setting.band
    if quarter <= (high - low) / 2 and (found.ratio or 1) <= 1:
        return []
    amount = shown(quarter, found.setting.unit, inches=inches)
    return [f"Careful: a quarter turn moves it {amount}. Turn little, measure, turn again."]
