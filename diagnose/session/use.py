"""The whole of what a use may do: what it waits to be confirmed, what it can ask and check."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Use:
    """None stands for all. Nothing is forged for a use that cannot do a thing: it says so here."""

    waits: bool = True
    """It waits until the machine is confirmed safe."""
    openings: bool = True
    """It asks what every search begins with."""
    asks: frozenset[str] | None = None
    """Signs that it can ask."""

    def asked(self, sign: str) -> bool:
        return self.asks is None or sign in self.asks


TERMINAL = Use()
WORK_LIST = Use(waits=False, openings=False)
"""A log's work list: nobody is there to confirm or to be asked first."""


def replaying(answered: frozenset[str]) -> Use:
    """A solved case gone through again: it can answer what was answered then."""
    return Use(waits=False, asks=answered)
