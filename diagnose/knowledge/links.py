"""What belongs together in the rule base, worked out once: plain maps that every caller asks.

`references` proves them complete: each setting has exactly one check that measures it, each
rule's target and sign are known.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple, Protocol

Grade = Literal["low", "in", "high"]


class Bounded(Protocol):
    """A setting, as far as it matters here."""

    @property
    def too_low(self) -> str | None: ...

    @property
    def too_high(self) -> str | None: ...


class Finds(Protocol):
    """A check, as far as it matters here."""

    @property
    def setting(self) -> str | None: ...

    @property
    def confirms(self) -> Mapping[str, str]: ...


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


def links_of(
    shows: Iterable[str],
    settings: Mapping[str, Bounded],
    causes: Iterable[str],
    checks: Mapping[str, Finds],
) -> Links:
    """Work the maps out, of rules' ids and of items, which may still hold unknown ids."""
    spoken = {rule: Spoken(*_split(rule)) for rule in shows}
    sides: list[tuple[tuple[str, Grade], str | None]] = []
    for name, setting in settings.items():
        sides += [((name, "low"), setting.too_low), ((name, "high"), setting.too_high)]
    cause_of = {side: cause for side, cause in sides if cause is not None}
    causes = list(causes)
    named = {name for pair in spoken.values() for name in pair}
    return Links(
        check_of={c.setting: n for n, c in reversed(list(checks.items())) if c.setting},
        cause_of=cause_of,
        settings_of={
            cause: tuple(dict.fromkeys(n for (n, _), c in cause_of.items() if c == cause))
            for cause in causes
        },
        finders={
            cause: tuple(n for n, check in checks.items() if cause in check.confirms)
            for cause in causes
        },
        spoken=spoken,
        rules_on={name: tuple(r for r, pair in spoken.items() if name in pair) for name in named},
    )


def _split(rule: str) -> tuple[str, str]:
    target, _, sign = rule.partition("/")
    return target, sign
