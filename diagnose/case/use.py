"""The whole of what a use may do: what it waits to be confirmed, what it can ask and check."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Use:
    """None stands for all. Nothing is forged for a use that cannot do a thing: it says so here."""

    stopped: bool = True
    """Nothing is put, not even a question, before the machine is confirmed safe."""
    confirms: bool = False
    """It waits for each precaution of an act, not for making safe alone."""
    openings: bool = True
    """It asks what every search begins with."""
    asks: frozenset[str] | None = None
    """Signs that it can ask."""

    def asked(self, sign: str) -> bool:
        return self.asks is None or sign in self.asks


TERMINAL = Use()
DRILL = Use(stopped=False, confirms=True)
"""A learner answers for every precaution of an act, and for none where none is needed."""
WORK_LIST = Use(stopped=False, openings=False)
"""A log's work list: nobody is there to confirm or to be asked first."""


def replaying(answered: frozenset[str]) -> Use:
    """A solved case gone through again: it can answer what was answered then."""
    return Use(stopped=False, asks=answered)
