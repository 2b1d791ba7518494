"""What belongs together in the rule base, worked out once: plain maps that every caller asks.

`references` proves them complete: each setting has exactly one check that measures it, each
rule's target and sign are known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from diagnose.knowledge.model import Knowledge

Grade = Literal["low", "in", "high"]


class Spoken(NamedTuple):
    """What a `shows` rule speaks of: its mechanism or cause, and the sign it shows."""

    target: str
    sign: str


@dataclass(frozen=True)
class Links:
    """Keys and values are ids; values keep the order of the rules."""

    check_of: dict[str, str]
    """Setting -> the check that measures it."""
    cause_of: dict[tuple[str, Grade], str]
    """Setting and grade -> the cause that a reading so graded speaks for."""
    settings_of: dict[str, tuple[str, ...]]
    """Cause -> the settings that a reading of may speak for it."""
    finders: dict[str, tuple[str, ...]]
    """Cause -> the checks that can confirm it."""
    spoken: dict[str, Spoken]
    """Rule -> its target and its sign."""
    rules_on: dict[str, tuple[str, ...]]
    """Mechanism, cause or sign -> the `shows` rules that speak of it."""


def links_of(base: Knowledge) -> Links:
    """Work the maps out. Needs nothing but the items, which may still hold unknown ids."""
    spoken = {rule: Spoken(*_split(rule)) for rule in base.shows}
    sides: tuple[tuple[Grade, str], ...] = (("low", "too_low"), ("high", "too_high"))
    cause_of = {
        (name, grade): cause
        for name, setting in base.settings.items()
        for grade, side in sides
        if (cause := getattr(setting, side)) is not None
    }
    named = {name for pair in spoken.values() for name in pair}
    return Links(
        check_of={c.setting: n for n, c in reversed(base.checks.items()) if c.setting},
        cause_of=cause_of,
        settings_of={
            cause: tuple(dict.fromkeys(n for (n, _), c in cause_of.items() if c == cause))
            for cause in base.causes
        },
        finders={
            cause: tuple(n for n, check in base.checks.items() if cause in check.confirms)
            for cause in base.causes
        },
        spoken=spoken,
        rules_on={name: tuple(r for r, pair in spoken.items() if name in pair) for name in named},
    )


def _split(rule: str) -> tuple[str, str]:
    target, _, sign = rule.partition("/")
    return target, sign
